#!/bin/sh
# 422: `no-value`; a reading that was not taken is not recorded: not known, never 0.
curl -si "$BASE/fhir/Observation" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @02-no-value.json
