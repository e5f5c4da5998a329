#!/bin/sh
# 412: `version-conflict`; read it first.
scan=$(curl -s "$BASE/fhir/Observation?identifier=https://lantern-quay.example/bedside-gateway%7C0602-scan-1" | grep -o '"fullUrl":"[^"]*"' | cut -d '"' -f 4)
sed "s/THE-ID/${scan##*/}/" 07-correct.json | curl -si "$scan" \
  -X PUT \
  -H 'If-Match: W/"1"' \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @-
