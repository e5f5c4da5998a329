#!/bin/sh
# 200: a `searchset` without an entry: the window of a criterion is not covered yet, and nobody can chart time.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0605&code=kdigo-1&_count=1"
