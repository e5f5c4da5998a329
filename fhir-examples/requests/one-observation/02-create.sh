#!/bin/sh
# 201: as it is stored, in `mL`, with the service's id, our codes beside the sender's and the quantity as sent.
curl -si "$BASE/fhir/Observation" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @02-create.json
