#!/bin/sh
# 200: `informational`, and nothing is kept.
curl -si "$BASE/fhir/Observation/\$validate?mode=create" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @01-would-it-be-taken.json
