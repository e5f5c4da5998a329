#!/bin/sh
# 200: compared in a common unit, as exactly as it is written: 1.00 L finds `1000` mL and not 940.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0606&value-quantity=1.00%7Chttp://unitsofmeasure.org%7CL"
