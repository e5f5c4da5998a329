#!/bin/sh
# 422: `unknown-code`; a transaction stands or falls as a whole, so nothing was recorded.
curl -si "$BASE/fhir" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @03-transaction.json
