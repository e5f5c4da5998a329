#!/bin/sh
# 200: each stands or falls alone: `201 Created`, `422 Unprocessable Entity` with `unknown-code`, and `no-episode`.
curl -si "$BASE/fhir" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @02-batch.json
