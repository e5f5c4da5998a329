#!/bin/sh
# 200: what the kidneys made, of every interval, hour, shift and day.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0604&code=9187-6&_sort=date&_elements=category,status,effective,value,dataAbsentReason"
