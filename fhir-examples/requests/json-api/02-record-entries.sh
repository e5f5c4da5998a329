#!/bin/sh
# 200: `recorded`; 800 drained − 700 instilled + 10 more in the bladder than before = 110 mL.
# The reply names the interval that this closes, `110`.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0601" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @02-record-entries.json
