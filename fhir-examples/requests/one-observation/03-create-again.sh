#!/bin/sh
# 200: the same content under the same identifier changes nothing; still `"versionId": "1"`.
curl -si "$BASE/fhir/Observation" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @02-create.json
