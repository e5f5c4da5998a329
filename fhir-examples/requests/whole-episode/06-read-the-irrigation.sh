#!/bin/sh
# 200: the Procedure, `completed`.
curl -si "$BASE/fhir/Procedure?patient.identifier=https://lantern-quay.example/patients%7CP-0604"
