#!/bin/sh
# 409: `conflicting-content`; other content needs a status that says that it corrects.
curl -si "$BASE/fhir/Observation" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @04-other-content.json
