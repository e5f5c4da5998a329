#!/bin/sh
# 200: `ifh-value-or-reason` and the rest of what it breaks.
curl -si "$BASE/fhir/Observation/\$validate" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @05-breaks-a-profile.json
