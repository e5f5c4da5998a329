#!/bin/sh
# Faults on purpose: kills between commit and delivery, a stop in the middle of work, a full disk, damaged and foreign files, a clock that
# was set back, upgrades of stores of every version, backups under load, many who begin at once, and spoilt requests.
#   tests/faults.sh           every kind of fault once, in about a minute on two cores that do nothing else
#   tests/faults.sh --long    200 kills and five more series of 12,000 spoilt requests: half an hour
#   KILLS=20 tests/faults.sh  another number of kills
set -e
cd "$(dirname "$0")/.."
if [ "${1-}" = --long ]; then export KILLS="${KILLS-200}"; else export KILLS="${KILLS-2}"; fi
dotnet build tests/IrrigationFhir.Tests -p:RunAnalyzers=false -p:OpenApiGenerateDocumentsOnBuild=false -v q -nologo

# One run for all of them: classes go beside one another, and the tests are found once.
rooms="KilledService CrashTests TroubleTests StoreFolder StoppedService LandedStores MigrationTests BackUpTests WatchedEpisodes ManyPosters
    RequestBody MomentTests EveryEpisode"
filter=""
for room in $rooms; do filter="${filter:+$filter|}FullyQualifiedName~$room"; done
dotnet test tests/IrrigationFhir.Tests --no-build --filter "$filter"

if [ "${1-}" != --long ]; then exit 0; fi
for seed in 1 2 3 4 5; do
    FUZZ_SEED=$seed dotnet test tests/IrrigationFhir.Tests --no-build --filter "FullyQualifiedName~Fuzz"
done
