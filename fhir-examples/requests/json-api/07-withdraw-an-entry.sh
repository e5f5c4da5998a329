#!/bin/sh
# 200: `retracted`; it stays in the log, and leaves every number.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0601" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @07-withdraw-an-entry.json
