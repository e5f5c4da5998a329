#!/bin/sh
# Mutation testing of the arithmetic: which changed operator or edge would no test notice? Slow, so no part of the build.
#   tests/mutate.sh                     Balance and Criteria
#   tests/mutate.sh 'Criteria/*.cs'     one folder
# Leaves out the property and simulation tests, which would take a minute for every mutant; what only they notice counts as survived.
set -e
cd "$(dirname "$0")/Irrigation.Tests"
dotnet tool restore
if [ $# -eq 0 ]; then set -- 'Balance/*.cs' 'Criteria/*.cs'; fi
mutate=""
for files in "$@"; do mutate="$mutate --mutate **/$files"; done
set -f # the patterns are the tool's, not the shell's
exec dotnet stryker --project Irrigation.csproj $mutate --concurrency 1 --reporter dots --reporter cleartext --reporter json \
    --test-case-filter "FullyQualifiedName!~PropertyTests&FullyQualifiedName!~VirtualWard&FullyQualifiedName!~What_holds_by_the_hour" \
    --output ../../artifacts/mutation
