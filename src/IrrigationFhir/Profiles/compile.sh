#!/usr/bin/env bash
# Recompiles everything the service embeds from this folder, after an .fsh file was changed:
#   <slug>.json, <slug>.example.json, terminology/*.json   from the .fsh files (FHIR Shorthand), snapshots by the Firely SDK
#   r4-core-subset.json.gz                                 the part of R4 4.0.1 that the profiles reach
# Needs the .NET SDK, and Node with npm for the FHIR Shorthand compiler; building and running the service needs neither Node nor this script.
# The same sources give the same bytes: commit what changes. SUSHI=<command> takes an installed compiler instead of fetching it.
set -euo pipefail

profiles=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
compiler="$profiles/../../../tests/ProfileCompiler"
sushi=${SUSHI:-npm exec --yes --package=fsh-sushi@3.21.0 -- sushi}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

dotnet build "$compiler" --verbosity quiet
dotnet run --no-build --project "$compiler" -- core-package "$work/home/.fhir/packages/hl7.fhir.r4.core#4.0.1"

mkdir -p "$work/project/input/fsh/terminology"
cp "$profiles/sushi-config.yaml" "$work/project/"
cp "$profiles"/*.fsh "$work/project/input/fsh/"
cp "$profiles"/terminology/*.fsh "$work/project/input/fsh/terminology/"
# The compiler looks for FHIR packages below HOME; npm keeps its own cache.
npm_config_cache=$(npm config get cache) HOME="$work/home" $sushi build "$work/project"

dotnet run --no-build --project "$compiler" -- profiles "$work/project/fsh-generated/resources" "$profiles"
