#!/bin/sh
# 200: nothing is refused, and the reply names the doubt at once, `output-above-ceiling`: 4250 − 350 mL of urine in an hour
# is more than anybody makes. The number is kept, `preliminary`, and decides nothing.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0612" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @03-a-digit-too-many.json
