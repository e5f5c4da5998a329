#!/bin/sh
# 200: `940` mL drained, and the latest scan, `25` mL.
curl -si "$BASE/fhir/Observation/\$lastn?patient.identifier=https://lantern-quay.example/patients%7CP-0606&code=bladder-drainage-total,bladder-scan-volume"
