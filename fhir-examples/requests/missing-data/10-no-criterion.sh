#!/bin/sh
# 200: `not-evaluable`, and each `obstacle` named.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0605&code=kdigo-1&_count=1"
