#!/usr/bin/env bash
# Lints both contracts by the rules of openapi/redocly.yaml; what it finds is mended where the contract is written
# (src/IrrigationFhir/Rest/Contract.cs, FhirContract.cs), for the documents are generated. Needs Node 20 or later with npm, and
# leaves nothing in this folder. REDOCLY=<command> takes an installed linter instead of fetching it.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"

redocly=${REDOCLY:-npm exec --yes --package=@redocly/cli@2.77.0 -- redocly}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
export npm_config_cache=${npm_config_cache:-$work/npm} REDOCLY_TELEMETRY=off REDOCLY_SUPPRESS_UPDATE_NOTICE=true

$redocly lint --config redocly.yaml --max-problems 1000 irrigationfhir.json fhir.json
