#!/bin/sh
# 201: the irrigation of one patient; everything else belongs to it.
curl -si "$BASE/episodes" \
  -H 'Content-Type: application/json' \
  --data-binary @01-open-the-episode.json
