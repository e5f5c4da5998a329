#!/bin/sh
# 201: `650` mL at 22:00; the weight is still not known.
curl -si "$BASE/fhir/Observation" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @07-drainage-charted.json
