#!/bin/sh
# 422: `wrong-unit`; cc is no UCUM unit, and the outcome names those that are taken.
curl -si "$BASE/fhir/Observation" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @03-a-unit-that-is-not-taken.json
