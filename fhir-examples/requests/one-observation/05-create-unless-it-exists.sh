#!/bin/sh
# 200: what exists is the answer, whatever was sent; still `35` mL.
curl -si "$BASE/fhir/Observation" \
  -H 'If-None-Exist: identifier=https://lantern-quay.example/bedside-gateway%7C0602-scan-1' \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @04-other-content.json
