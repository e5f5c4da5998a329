#!/bin/sh
# 201: FHIR writes into an episode that is open; the patient, the zone and the start of shifts come with it.
curl -si "$BASE/episodes" \
  -H 'Content-Type: application/json' \
  --data-binary @01-open-the-episode.json
