#!/bin/sh
# 422: `missing-unit`; text is for people.
curl -si "$BASE/fhir/Observation" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @04-a-unit-in-words-only.json
