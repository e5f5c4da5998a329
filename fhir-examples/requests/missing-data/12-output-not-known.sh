#!/bin/sh
# 200: the interval has no value but a `dataAbsentReason`, `temp-unknown`: what ran in is known when the bag is read.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0605&code=9187-6&date=ge2026-03-14T22:30:00%2B01:00"
