#!/bin/sh
# 200: the Provenance beside it.
scan=$(curl -s "$BASE/fhir/Observation?identifier=https://lantern-quay.example/bedside-gateway%7C0602-scan-1" | grep -o '"fullUrl":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/fhir/Provenance?target=Observation/${scan##*/}"
