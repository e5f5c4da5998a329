#!/usr/bin/env bash
# A second reading by engines that share no code with ours, all pinned; not part of `dotnet test`:
#   FHIRPath (fhirpath.js with its model of R4): every invariant of our profiles, and the invariants of R4 in their snapshots, over
#     every resource in fhir-examples and over the keep and break example of each invariant, against our own verdict;
#   UCUM (ucum-lhc): every unit that is taken, published or searched by, its factors, and every quantity in fhir-examples.
# Prints a line for each and fails on any disagreement. Needs the .NET SDK, and Node 20 or later with npm; what it fetches lies in a
# folder of its own that is removed at the end. NODE_MODULES=<folder> takes installed packages instead of fetching them.
set -euo pipefail

tests=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

ORACLES="$work" dotnet test "$tests/IrrigationFhir.Tests" --filter "DisplayName~for_another_engine_to_judge" --verbosity quiet --nologo

if [ -n "${NODE_MODULES:-}" ]; then
    ln -s "$NODE_MODULES" "$work/node_modules"
else
    npm_config_cache=${npm_config_cache:-$work/npm} npm install --prefix "$work" --no-save --no-audit --no-fund --silent fhirpath@5.2.2 @lhncbc/ucum-lhc@7.1.10
fi

# Node looks for packages beside the script that asks for them.
cp "$tests/oracles/judge.mjs" "$work/"
node "$work/judge.mjs" "$work" "$tests/.."
