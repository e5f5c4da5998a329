#!/bin/sh
# 200: the JSON API ends it: `"end"` and a new version.
curl -si "$BASE/episodes" \
  -H 'Content-Type: application/json' \
  --data-binary @03-close-the-episode.json
