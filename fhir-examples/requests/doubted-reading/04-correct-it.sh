#!/bin/sh
# 200: `amended`: it was 425 mL, and 425 − 350 = `75` mL, `corrected`: no doubt is left.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0612" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @04-correct-it.json
