#!/bin/sh
# 200: the unknown code is reported, `422 Unprocessable Entity`, and the rest recorded, `201 Created`.
curl -si "$BASE/fhir" \
  -H 'Prefer: handling=lenient' \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @03-transaction.json
