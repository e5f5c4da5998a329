#!/bin/sh
# 200: the hour from 22:00 and, as `include`, what it is derived from.
curl -si "$BASE/fhir/Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0606&code=9188-4&date=ge2026-03-14T22:30:00%2B01:00&date=le2026-03-14T22:30:00%2B01:00&_include=Observation:derived-from&_elements=code,status,effective,value,derivedFrom"
