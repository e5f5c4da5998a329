#!/bin/sh
# 200: of the interval, the hour, the shift and the day, `corrected` and `130` mL.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0601&code=9187-6&_sort=date&_elements=category,status,effective,value,dataAbsentReason"
