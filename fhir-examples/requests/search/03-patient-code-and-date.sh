#!/bin/sh
# 200: the drainage of the patient from 22:30 on, `940` mL.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0606&code=bladder-drainage-total&date=ge2026-03-14T22:30:00%2B01:00"
