#!/bin/sh
# 200: each stands or falls alone: `201 Created`, `422 Unprocessable Entity` with `unknown-code`, and `no-episode`.
# The first is taken with a `warning`: so much drained, and nobody has charted any irrigant.
curl -si "$BASE/fhir" \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @02-batch.json
