using System.Text.Json.Nodes;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using Microsoft.Data.Sqlite;

namespace IrrigationFhir.Tests.Store;

/// <summary>A hospital that upgrades keeps its nights: this version opens, reads and writes the store of every landed one.</summary>
public class LandedStoresTests
{
    // The stores were made on 27 November 2026; nothing is stored before what is there.
    private const string Now = "2026-12-01T08:00:00Z";

    public static TheoryData<string> Names => [.. Landed.Names];

    [Theory]
    [MemberData(nameof(Names))]
    public async Task What_a_landed_version_stored_is_read_searched_and_added_to(string name)
    {
        var folder = Landed.Unpack(name);
        var before = Before(folder);
        Assert.Equal(33, before.Entries.Count);
        string after;
        await using (var ward = RunningService.Start(Now, folder))
        {
            Assert.Equal(200, (int)(await ward.Get("/health/ready")).Status);

            // Every entry and every resource, as that version wrote them.
            var log = (await ward.Read($"/episodes/{before.Episode}/entries")).ToJsonString();
            Assert.All(before.Entries, entry => Assert.Contains($"\"{entry}\"", log, StringComparison.Ordinal));
            foreach (var (address, json) in before.Resources.Concat(before.Versions))
            {
                var read = await ward.Get($"/fhir/{address}");
                Assert.True(JsonNode.DeepEquals(JsonNode.Parse(json), JsonNode.Parse(read.Text)), $"{address}\n{json}\n{read.Text}");
            }

            // By subject, by code, by a component's value (an index row that the first versions did not write) and by time.
            var observations = before.Resources.Count(r => r.Address.StartsWith("Observation/", StringComparison.Ordinal));
            Assert.Equal(observations, await Found(ward, "Observation?patient.identifier=https://lantern-quay.example/patients%7CP-0417"));
            var outputs = await Found(ward, "Observation?code=9187-6");
            Assert.True(outputs > 5, $"{outputs} outputs found by their code");
            Assert.True(await Found(ward, "Observation?code-value-quantity=http://loinc.org%7C9187-6$gt0||mL") > 5);
            Assert.Equal(observations, await Found(ward, "Observation?date=gt2026-03-01"));

            // 5720 − 5370 + 60 leaked, as that night was reckoned then and is today.
            var balance = await ward.Read($"/episodes/{before.Episode}/balance?asOf=2026-03-15T07:05:00%2B01:00");
            Assert.Equal(410m, (decimal)Assert.Single(balance["shifts"]!.AsArray())!["correctedUrineOutput"]!["headline"]!["value"]!);
            await ward.Read($"/episodes/{before.Episode}/flags");

            // And one more entry, late.
            await ward.Record(
                before.Episode,
                JsonNode.Parse(
                    """
                    {"source": "ward-7", "id": "scan-0650", "kind": "bladder-scanned", "at": "2026-03-15T06:50:00+01:00",
                     "volume": {"value": 35, "unit": "mL"}, "how": "scan"}
                    """
                )!
            );
            await Publishes_in_todays_manner(ward, before.Resources);
            Assert.Equal(34, (await ward.Read($"/episodes/{before.Episode}/entries"))["entries"]!.AsArray().Count);
            after = await ward.Everything(before.Episode);
        }

        await using (var again = RunningService.Start(Now, folder))
        {
            Assert.Equal(after, await again.Everything(before.Episode));
            Assert.Equal(200, (int)(await again.Get("/health/ready")).Status);
        }

        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public void A_store_of_each_state_that_the_scripts_were_in_when_a_service_was_run_is_among_them()
    {
        var states = Landed.Names.Select(name =>
        {
            var folder = Landed.Unpack(name);
            using var store = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadOnly);
            var made = string.Join('\n', Dialect.Texts(store, "select sql from sqlite_master where sql is not null order by name"));
            return string.Join(' ', Dialect.Texts(store, "select ScriptName from SchemaVersions order by 1")) + made;
        });
        // Ten states; two stores share one.
        Assert.Equal(11, states.Distinct().Count());
    }

    /// <summary>
    /// With its first change an episode is published in the manner of today, whole: what has no successor under its id is taken back, and
    /// no number is counted twice.
    /// </summary>
    private static async Task Publishes_in_todays_manner(RunningService ward, List<(string Address, string Json)> before)
    {
        var hourly = before.Where(r => r.Address.Contains(".urine-output-criterion.h", StringComparison.Ordinal)).ToList();
        foreach (var (address, _) in hourly)
            Assert.Equal("entered-in-error", (string)(await ward.Read($"/fhir/{address}"))["status"]!);
        Assert.Equal(
            hourly.Count > 0 ? 2 : 0,
            Math.Min(hourly.Count, await Found(ward, "Observation?code=kdigo-1,low-hourly-output&status:not=entered-in-error"))
        );

        const string standing = "&status:not=entered-in-error&_count=100";
        var generic = (await ward.Read($"/fhir/Observation?code=9187-6{standing}"))["entry"]!.AsArray();
        Assert.Equal(
            7,
            generic.Count(entry => ((string)entry!["resource"]!["id"]!).Contains(".corrected-urine-output.i", StringComparison.Ordinal))
        );
        Assert.Equal(7, generic.Count);
        Assert.Equal(0, await Found(ward, "Observation?code=urine-output-rate&status:not=entered-in-error")); // nobody weighed
        Assert.True(await Found(ward, "Observation?code=9188-4") >= 9);
    }

    private static async Task<int> Found(RunningService ward, string search) =>
        (int)(await ward.Read($"/fhir/{search}&_summary=count"))["total"]!;

    /// <summary>What is in the file before this version ever saw it.</summary>
    private static (
        string Episode,
        List<string> Entries,
        List<(string Address, string Json)> Resources,
        List<(string Address, string Json)> Versions
    ) Before(string folder)
    {
        using var store = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadOnly);
        var (episode, entries) = (
            Dialect.Texts(store, "select id from episode").Single(),
            Dialect.Texts(store, "select entry_id from entry")
        );
        if (Dialect.Number(store, "select count(*) from sqlite_master where name = 'resource_version'") == 1)
        {
            // From the narrow rows on: types are numbers, and every version is packed.
            var versions = Dialect
                .Rows(
                    store,
                    """
                    select r.type, r.id, v.version_id, v.json, v.version_id = r.version_id
                    from resource r join resource_version v on v.patient = r.patient and v.type = r.type and v.number = r.number
                    """,
                    row =>
                        (
                            Address: $"{IndexedTypes.NameOf(row.GetInt64(0))}/{row.GetString(1)}",
                            Version: row.GetInt64(2),
                            Json: StoredJson.Unpack(row.GetFieldValue<byte[]>(3)),
                            IsCurrent: row.GetBoolean(4)
                        )
                )
                .Where(version => !version.Address.StartsWith("Subscription/", StringComparison.Ordinal))
                .ToList();
            return (
                episode,
                entries,
                [.. versions.Where(version => version.IsCurrent).Select(version => (version.Address, version.Json))],
                [.. versions.Select(version => ($"{version.Address}/_history/{version.Version}", version.Json))]
            );
        }

        return (
            episode,
            entries,
            Dialect.Rows(
                store,
                "select type || '/' || id, json from resource where type <> 'Subscription'",
                row => (row.GetString(0), row.GetString(1))
            ),
            Dialect.Rows(
                store,
                "select type || '/' || id || '/_history/' || version_id, json from resource_history where type <> 'Subscription'",
                row => (row.GetString(0), row.GetString(1))
            )
        );
    }
}
