#!/bin/sh
# 200: nothing is refused: 4250 mL are more than anybody makes, and less than a container holds.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0603" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @03-ten-times-too-much.json
