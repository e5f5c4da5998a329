#!/bin/sh
# 200: `more-than-container-holds`: two bags were emptied into a bucket, and charted as one.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0612" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @05-more-than-a-container-holds.json
