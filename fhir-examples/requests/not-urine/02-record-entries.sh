#!/bin/sh
# 200: what left the bag and never reached the bladder, and what was blood: neither is urine. The blood was weighed,
# 53 g at 1.06 g/mL: 50 mL. 800 drained − (3000 − 2240 left − 60 spilt) irrigant − 50 blood = `50` mL.
episode=$(curl -s "$BASE/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0611" | grep -o '"id":"[^"]*"' | cut -d '"' -f 4)
curl -si "$BASE/episodes/$episode/entries" \
  -H 'Content-Type: application/json' \
  --data-binary @02-record-entries.json
