#!/bin/sh
# 200: in one transaction, all or nothing, whatever the order; `201 Created` for each.
curl -si "$BASE/fhir" \
  -H 'Prefer: return=minimal' \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @02-record-the-evening.json
