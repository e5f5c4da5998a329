#!/bin/sh
# 200: as it was believed once, `35` mL.
scan=$(curl -s "$BASE/fhir/Observation?identifier=https://lantern-quay.example/bedside-gateway%7C0602-scan-1" | grep -o '"fullUrl":"[^"]*"' | cut -d '"' -f 4)
curl -si "$scan/_history/1"
