#!/bin/sh
# 400: `search-parameter-unknown` with strict handling; without it the self link says what took effect.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0606&colour=red" \
  -H 'Prefer: handling=strict'
