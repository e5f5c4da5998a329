#!/bin/sh
# 200: a bag of unknown flow is hung at 22:00, and 500 mL are emptied at 23:00.
curl -si "$BASE/fhir" \
  -H 'Prefer: return=minimal' \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @11-irrigant-not-read.json
