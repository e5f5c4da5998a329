#!/bin/sh
# 200: the same search as the first, with the identifier in the body and in no proxy's log.
curl -si "$BASE/fhir/Observation/_search" \
  --data-urlencode 'patient.identifier=https://lantern-quay.example/patients|P-0606' \
  --data-urlencode 'code=bladder-drainage-total' \
  --data-urlencode 'date=ge2026-03-14T22:30:00+01:00'
