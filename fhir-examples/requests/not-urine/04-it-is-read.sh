#!/bin/sh
# 200: it is read 40 minutes later, and belongs to the hour in which it filled: 690 − 600 = `90` mL, `final`.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0611" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @04-it-is-read.json
