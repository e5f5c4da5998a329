#!/bin/sh
# 200: a `searchset` without an entry: no weight was charted, so there is no rate per kilogram; the output and its period say the rest.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0605&code=urine-output-rate"
