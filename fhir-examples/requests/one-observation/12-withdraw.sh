#!/bin/sh
# 200: `entered-in-error`; nothing is deleted.
curl -si "$BASE/fhir/Observation" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @12-withdraw.json
