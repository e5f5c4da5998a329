#!/bin/sh
# 200: `bad-time` and a `missing` patient; every problem at once, and a 200 all the same: the question was answered.
curl -si "$BASE/fhir/Observation/\$validate?mode=create" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @02-what-would-be-refused.json
