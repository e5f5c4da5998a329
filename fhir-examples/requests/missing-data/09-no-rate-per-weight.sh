#!/bin/sh
# 200: `50` mL/h, and per kilogram a `dataAbsentReason`: no weight was charted.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0605&code=urine-output-rate"
