#!/usr/bin/env bash
# The loop of an integrator with a FHIR client that nobody here wrote (fhir-kit-client, MIT), pinned, against the service as it runs; not
# part of `dotnet test`, whose FhirClientTests do the same with the SDK's client. Needs the .NET SDK, and Node 20 or later with npm; what it
# fetches and stores lies in a folder of its own that is removed at the end. NODE_MODULES=<folder> takes installed packages instead.
set -euo pipefail

tests=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
work=$(mktemp -d)
service=
finish() {
    if [ -n "$service" ]; then kill "$service" 2>/dev/null || true; wait "$service" 2>/dev/null || true; fi
    rm -rf "$work"
}
trap finish EXIT

if [ -n "${NODE_MODULES:-}" ]; then
    ln -s "$NODE_MODULES" "$work/node_modules"
else
    npm_config_cache=${npm_config_cache:-$work/npm} npm install --prefix "$work" --no-save --no-audit --no-fund --silent fhir-kit-client@2.0.3
fi

port=${PORT:-5187}
dotnet build "$tests/../src/IrrigationFhir" --verbosity quiet --nologo
dotnet run --no-build --project "$tests/../src/IrrigationFhir" -- --urls "http://127.0.0.1:$port" --Data:Folder "$work/data" >"$work/log" 2>&1 &
service=$!
for _ in $(seq 120); do
    if curl --fail --silent --output /dev/null "http://127.0.0.1:$port/health/ready"; then break; fi
    sleep 0.5
done

# Node looks for packages beside the script that asks for them.
cp "$tests/clients/loop.mjs" "$work/"
node "$work/loop.mjs" "http://127.0.0.1:$port"
