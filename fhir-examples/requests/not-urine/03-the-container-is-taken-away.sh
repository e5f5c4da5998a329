#!/bin/sh
# 200: container 1 goes to the sluice unread, and an empty one hangs in its place:
# what container 1 holds had drained by 21:00, and is not known yet: `preliminary`, and no number.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0611" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @03-the-container-is-taken-away.json
