#!/bin/sh
# 201: nothing was found, so it is created.
curl -si "$BASE/fhir/Observation" \
  -H 'If-None-Exist: identifier=https://lantern-quay.example/bedside-gateway%7C0602-scan-2' \
  -H 'Content-Type: application/fhir+json' \
  --data-binary @06-create-what-does-not-exist.json
