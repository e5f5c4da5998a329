#!/bin/sh
# 200: outputs for which more than 850 mL were instilled.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0606&code=9187-6&component-code-value-quantity=irrigant-instilled\$gt850%7C%7CmL&_elements=code,status,effective,value"
