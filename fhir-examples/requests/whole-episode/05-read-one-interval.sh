#!/bin/sh
# 200: one of them whole, with the terms of its balance: 560 − 450 + (30 − 20) + 50 = `170` mL.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0604&code=9187-6&category=closed-interval&date=ge2026-03-14T23:00:00%2B01:00"
