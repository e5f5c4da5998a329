#!/bin/sh
# 422: `negative`; one request is taken whole or not at all, so neither was recorded.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0601" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @04-one-of-two-is-wrong.json
