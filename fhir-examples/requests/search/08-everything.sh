#!/bin/sh
# 200: the first page of all that refers to the patient; `next` leads on.
curl -si "$BASE/fhir/Patient/\$everything?identifier=https://lantern-quay.example/patients%7CP-0606&_count=1"
