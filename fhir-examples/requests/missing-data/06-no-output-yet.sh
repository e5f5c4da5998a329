#!/bin/sh
# 200: `"total": 0`; without a reading of the drainage no interval is closed, and there is no output, not an output of 0.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0605&code=9187-6&_total=accurate"
