#!/bin/sh
# 200: what the searches find.
curl -si "$BASE/fhir" \
  -H 'Prefer: return=minimal' \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @02-record.json
