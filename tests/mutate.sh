#!/bin/sh
# Mutation testing of the arithmetic: which changed operator or edge would no test notice? Slow, so no part of the build.
#   tests/mutate.sh                     all of it
#   tests/mutate.sh 'Criteria/*.cs'     one folder
# Properties are tried fewer times than usual, and the simulated ward and two long properties are left out: for every mutant they
# would take a minute. EntryProblem.cs is left out too: its texts are pinned by the service's tests of bad input, which do not run here.
set -e
cd "$(dirname "$0")/Irrigation.Tests"
dotnet tool restore
if [ $# -eq 0 ]; then set -- 'Measures/*.cs' 'Episodes/*.cs' 'Balance/*.cs' 'Criteria/*.cs' 'Flags/*.cs'; fi
mutate=""
for files in "$@"; do mutate="$mutate --mutate **/$files"; done
mutate="$mutate --mutate !**/EntryProblem.cs"
export PROPERTY_TIMES=40
set -f # the patterns are the tool's, not the shell's
exec dotnet stryker --project Irrigation.csproj $mutate --concurrency 1 --reporter dots --reporter cleartext --reporter json \
    --test-case-filter "FullyQualifiedName!~VirtualWard&FullyQualifiedName!~side_by_side" \
    --output ../../artifacts/mutation
