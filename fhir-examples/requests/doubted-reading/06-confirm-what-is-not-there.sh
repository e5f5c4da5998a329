#!/bin/sh
# 422: `unknown-reading`: a mistyped id would leave the doubt where it is.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0612" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @06-confirm-what-is-not-there.json
