#!/usr/bin/env bash
# Makes a stored database as a landed version leaves it: builds that commit, lets its service take its own invented night
# (fhir-examples/a-night) and a subscription, stops it with SIGTERM, and packs the file.
#   tests/IrrigationFhir.Tests/Store/Landed/make.sh COMMIT [NIGHT]
# NIGHT is the commit whose night is taken where the version has none of its own.
# Needs git, the .NET SDK, curl, python3 and sqlite3. Run it once for each version that lands, and never again: what it made is the
# proof that a later version can open it.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
commit=$(git -C "$here" rev-parse --short=7 "$1^{commit}")
name=$(git -C "$here" log -1 --date=short --format=%cd "$commit")-$commit
made=$(mktemp -d)
children=()
trap 'for child in "${children[@]}"; do kill "$child" 2>/dev/null || true; done; rm -rf "$made"' EXIT

mkdir "$made/source" "$made/store"
git -C "$(git -C "$here" rev-parse --show-toplevel)" archive "$commit" | tar -x -C "$made/source"
[ -d "$made/source/fhir-examples/a-night" ] || git -C "$(git -C "$here" rev-parse --show-toplevel)" archive "$2" fhir-examples/a-night | tar -x -C "$made/source"
dotnet build "$made/source/src/IrrigationFhir" --verbosity quiet --output "$made/service" \
    -p:OpenApiGenerateDocumentsOnBuild=false -p:RunAnalyzers=false -p:TreatWarningsAsErrors=false >"$made/build.log" || { cat "$made/build.log"; exit 1; }

# An endpoint that says yes to everything, so that the subscription is served.
python3 - "$made/port" <<'PY' 2>/dev/null &
import http.server, sys
class Yes(http.server.BaseHTTPRequestHandler):
    def do_POST(self):
        self.rfile.read(int(self.headers.get("Content-Length") or 0))
        self.send_response(200)
        self.end_headers()
server = http.server.HTTPServer(("127.0.0.1", 0), Yes)
open(sys.argv[1], "w").write(str(server.server_address[1]))
server.serve_forever()
PY
children+=($!)

cd "$made/source"
dotnet "$made/service/IrrigationFhir.dll" --urls http://127.0.0.1:0 --Data:Folder "$made/store" --Subscriptions:AllowLoopback true >"$made/service.log" 2>&1 &
service=$!
children+=("$service")
for _ in $(seq 240); do grep -q 'Now listening on' "$made/service.log" && break; sleep 0.5; done
address=$(grep -o 'http://127.0.0.1:[0-9]*' "$made/service.log" | head -1)
for _ in $(seq 240); do curl -sf "$address/health/ready" >/dev/null && break; sleep 0.5; done

post() { curl -s -o "$made/reply" -w '%{http_code} '"$1"'\n' "$address$1" -H "Content-Type: $2" --data-binary "$3"; }
if [ -d fhir-examples/subscription ] || grep -rqs '"Subscription"' src/IrrigationFhir/Rest src/IrrigationFhir/Subscriptions; then
    post /fhir/Subscription application/fhir+json "$(cat <<JSON
{"resourceType": "Subscription", "meta": {"profile": ["http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-subscription"]},
 "status": "requested", "reason": "The board of an invented ward", "criteria": "https://irrigationfhir.example/fhir/SubscriptionTopic/flag-raised",
 "channel": {"type": "rest-hook", "endpoint": "http://127.0.0.1:$(cat "$made/port")/told", "payload": "application/fhir+json",
   "_payload": {"extension": [{"url": "http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-payload-content", "valueCode": "id-only"}]}}}
JSON
)"
    head -c 300 "$made/reply"; echo
    sleep 3
fi
post /episodes application/json @fhir-examples/a-night/episode.json
episode=$(curl -s "$address/episodes?identifier=https://lantern-quay.example/irrigations%7CI-2026-0093" | grep -o '"id": *"[^"]*"' | head -1 | cut -d '"' -f 4)
[ -n "$episode" ] || episode=$(grep -o '"id": *"[^"]*"' "$made/reply" | head -1 | cut -d '"' -f 4)
post "/episodes/$episode/entries" application/x-ndjson @fhir-examples/a-night/entries.ndjson
post "/episodes/$episode/entries" application/json @fhir-examples/a-night/late-entry.json
post "/episodes/$episode/entries" application/json @fhir-examples/a-night/correction.json
# Ended, so that the real clock of today adds nothing to a night in March.
sed 's/"end": *null/"end": "2026-03-15T07:00:00+01:00"/' fhir-examples/a-night/episode.json >"$made/ended.json"
post /episodes application/json "@$made/ended.json"
sleep 3

kill -TERM "$service"
wait "$service" || true
# Versions before the checkpoint at stop leave everything in the log beside the file.
sqlite3 "$made/store/irrigation.db" 'pragma wal_checkpoint(truncate)' >/dev/null
sqlite3 "$made/store/irrigation.db" "select 'entries ' || count(*) from entry; select type || ' ' || count(*) from resource group by type; select ScriptName from SchemaVersions"
gzip -9 -n <"$made/store/irrigation.db" >"$here/$name.db.gz"
ls -l "$here/$name.db.gz"
