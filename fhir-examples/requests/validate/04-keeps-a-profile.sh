#!/bin/sh
# 200: no errors against a profile of this service.
curl -si "$BASE/fhir/Observation/\$validate" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @04-keeps-a-profile.json
