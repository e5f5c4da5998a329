#!/bin/sh
# 200: the same with lenient handling: `emptied-2300` is `refused`, the other one `recorded`.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0601" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Prefer: handling=lenient' \
  -H 'Content-Type: application/json' \
  --data-binary @04-one-of-two-is-wrong.json
