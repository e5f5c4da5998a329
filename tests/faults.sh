#!/bin/sh
# Faults on purpose: kills between commit and delivery, a full disk, damaged and foreign files, a clock that was set back, upgrades of
# stores of every version, backups under load, many who begin at once, and spoilt requests.
#   tests/faults.sh           as they run with all tests, in a minute or two
#   tests/faults.sh --long    200 kills and five more series of 12,000 spoilt requests: half an hour
set -e
cd "$(dirname "$0")/.."
room() { dotnet test tests/IrrigationFhir.Tests --no-build --filter "$1"; }
dotnet build tests/IrrigationFhir.Tests
if [ "${1-}" = --long ]; then export KILLS=200; fi
room "FullyQualifiedName~KilledService|FullyQualifiedName~CrashTests|FullyQualifiedName~TroubleTests|FullyQualifiedName~StoreFolder"
room "FullyQualifiedName~LandedStores|FullyQualifiedName~MigrationTests|FullyQualifiedName~BackUpTests|FullyQualifiedName~WatchedEpisodes"
room "FullyQualifiedName~ManyPosters|FullyQualifiedName~RequestBody|FullyQualifiedName~MomentTests|FullyQualifiedName~EveryEpisode"
if [ "${1-}" != --long ]; then exit 0; fi
for seed in 1 2 3 4 5; do
    FUZZ_SEED=$seed dotnet test tests/IrrigationFhir.Tests --no-build --filter "FullyQualifiedName~Fuzz"
done
