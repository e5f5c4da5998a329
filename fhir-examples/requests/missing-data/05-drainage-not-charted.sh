#!/bin/sh
# 201: 600 mL run in between 21:00 and 22:00, and nobody charts what came out.
curl -si "$BASE/fhir/Observation" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @05-drainage-not-charted.json
