#!/bin/sh
# 200: other content under the same id is `amended`: 820 mL, not 800, and so `130` where it was `110`.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0601" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @06-correct-an-entry.json
