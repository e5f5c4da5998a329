#!/bin/sh
# 200: 650 − 600 = `50` mL in the hour, with what to know before relying on it.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0605&code=9187-6&category=clock-hour"
