#!/bin/sh
# 200: `repeated`; what may not have arrived is simply sent again.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0601" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @02-record-entries.json
