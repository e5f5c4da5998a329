#!/bin/sh
# 200: `wrong-unit`, as create would say.
curl -si "$BASE/fhir/Observation/\$validate?mode=create" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @03-a-content-that-would-be-refused.json
