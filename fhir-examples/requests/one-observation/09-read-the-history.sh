#!/bin/sh
# 200: both versions, the latest first: `53` and `35` mL.
scan=$(curl -s "$BASE/fhir/Observation?identifier=https://lantern-quay.example/bedside-gateway%7C0602-scan-1" | grep -o '"fullUrl":"[^"]*"' | cut -d '"' -f 4)
curl -si "$scan/_history"
