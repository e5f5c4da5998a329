using System.Text.Json;
using Hl7.Fhir.Model;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.Extensions.Time.Testing;
using static IrrigationFhir.Tests.Store.StoreOnDisk;
using Duration = NodaTime.Duration;
using Instant = NodaTime.Instant;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Store;

public class ResourceStoreTests
{
    [Fact]
    public async Task A_correction_is_a_new_version_and_the_old_one_stays_readable()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        await store.Save("night", [], Drainage("d", "2026-03-02T08:50:00Z", null, 420));
        store.Clock.Advance(TimeSpan.FromMinutes(5));
        await store.Save("night", [], Drainage("d", "2026-03-02T08:50:00Z", null, 240));

        var current = (await store.Resources.Read("Observation", "d", default))!;
        var first = (await store.Resources.VersionRead("Observation", "d", 1, default))!;

        Assert.Equal((2L, At("2026-03-02T08:05:00Z")), (current.VersionId, current.LastUpdated));
        Assert.Equal(240m, Value(current));
        Assert.Equal(420m, Value(first));
        Assert.Equal(current, await store.Resources.VersionRead("Observation", "d", 2, default));
        Assert.Null(await store.Resources.VersionRead("Observation", "d", 3, default));
        Assert.Equal([2L, 1L], (await store.Resources.History("Observation", "d", 10, null, null, default)).Select(v => v.VersionId));
        Assert.Equal(
            [2L],
            (await store.Resources.History("Observation", "d", 10, current.LastUpdated, null, default)).Select(v => v.VersionId)
        );
        Assert.Equal([1L], (await store.Resources.History("Observation", "d", 10, null, 2, default)).Select(v => v.VersionId));
    }

    [Fact]
    public async Task The_stored_text_says_its_own_version_and_keeps_what_meta_held()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        var sent = Drainage("d", "2026-03-02T08:50:00Z", null, 420);
        const string profile = "https://ward.example/StructureDefinition/drainage";
        sent.Meta = new()
        {
            VersionId = "77",
            LastUpdated = DateTimeOffset.UnixEpoch,
            Profile = [profile],
        };
        await store.Save("night", [], sent);

        using var json = JsonDocument.Parse((await store.Resources.Read("Observation", "d", default))!.Json);

        Assert.Equal(
            $$"""{"versionId":"1","lastUpdated":"2026-03-02T08:00:00.000000Z","profile":["{{profile}}"]}""",
            json.RootElement.GetProperty("meta").GetRawText().Replace("08:00:00.000001Z", "08:00:00.000000Z", StringComparison.Ordinal)
        );
        Assert.Equal("77", sent.Meta.VersionId);
    }

    [Theory]
    [InlineData("6")]
    [InlineData("6.0")]
    [InlineData("6.00")]
    [InlineData("-0.050")]
    public async Task Decimals_keep_their_digits(string digits)
    {
        await using var store = New();
        await store.OpenEpisode("night");
        await store.Save(
            "night",
            [],
            Drainage("d", "2026-03-02T08:50:00Z", null, decimal.Parse(digits, System.Globalization.CultureInfo.InvariantCulture))
        );

        var stored = (await store.Resources.Read("Observation", "d", default))!;

        Assert.Contains($"\"value\":{digits},", stored.Json, StringComparison.Ordinal);
        // Read and saved again it is the same content, so there is no second version.
        Assert.Empty((await store.Save("night", [], FhirJson.Read<Observation>(stored.Json))).Changed);
    }

    [Fact]
    public async Task Another_number_of_digits_is_another_content()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        await store.Save("night", [], Drainage("d", "2026-03-02T08:50:00Z", null, 6m));

        Assert.Single((await store.Save("night", [], Drainage("d", "2026-03-02T08:50:00Z", null, 6.0m))).Changed);
    }

    [Fact]
    public async Task No_two_saves_share_a_moment_even_when_the_clock_stands_or_goes_back()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        var moments = new List<Instant>();
        for (var n = 0; n < 5; n++)
            moments.Add((await store.Save("night", [], Drainage($"d{n}", "2026-03-02T08:50:00Z", null, 1))).Changed.Single().LastUpdated);

        Assert.Equal(moments.Distinct().Order(), moments);
        Assert.True(moments[^1] - moments[0] < Duration.FromMilliseconds(1));
    }

    [Fact]
    public async Task After_a_restart_everything_acknowledged_is_there_and_time_goes_on()
    {
        var store = New();
        await store.OpenEpisode("night");
        store.Clock.Advance(TimeSpan.FromHours(5));
        var saved = await store.Save("night", [Entry(1, "a")], Drainage("d", "2026-03-02T08:50:00Z", null, 420));
        await store.Database.DisposeAsync();

        // The clock of the second run was set right, by half a minute.
        await using var again = Reopen(store.Folder, new FakeTimeProvider(store.Clock.GetUtcNow() - TimeSpan.FromSeconds(30)));

        Assert.Equal(2, (await again.Episodes.Find("night", default))!.Version);
        Assert.Equal([Entry(1, "a")], await again.Episodes.LoadEntries("key-P-1", "night", 0, default));
        Assert.Equal(saved.Changed.Single(), await again.Resources.Read("Observation", "d", default));
        var next = await again.Save("night", [], Drainage("e", "2026-03-02T08:50:00Z", null, 1));
        Assert.True(next.Changed.Single().LastUpdated > saved.Changed.Single().LastUpdated);
    }

    [Fact]
    public async Task A_corrected_code_is_found_by_the_new_one_only()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        await store.Save("night", [], Drainage("d", "2026-03-02T08:50:00Z", null, 420));
        var corrected = Drainage("d", "2026-03-02T08:50:00Z", null, 420);
        corrected.Code = new("https://ward.example/codes", "urine");
        await store.Save("night", [], corrected);

        Assert.Empty(await FindByCode(store, "drainage"));
        Assert.Equal(["d"], await FindByCode(store, "urine"));
    }

    [Fact]
    public async Task What_something_derives_from_is_found_by_what_the_current_version_says()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        // "early" points at one that comes only later, "other" at none of this store; all but "late" are there from the first.
        await store.Save("night", [], Drainage("a", "2026-03-02T08:50:00Z", null, 1), From("early", "late", "a"), From("other", "none"));
        await store.Save("night", [], Drainage("late", "2026-03-02T08:50:00Z", null, 2), From("both", "late", "a"));

        Assert.Equal(["both", "early"], await DerivedFrom(store, "Observation/late"));
        Assert.Equal(["both", "early"], await DerivedFrom(store, "Observation/a"));
        Assert.Equal(["other"], await DerivedFrom(store, "Observation/none"));

        await store.Save("night", [], From("early", "a"), From("both", "late"), From("other", "late"));

        Assert.Equal(["both", "other"], await DerivedFrom(store, "Observation/late"));
        Assert.Equal(["early"], await DerivedFrom(store, "Observation/a"));
        Assert.Empty(await DerivedFrom(store, "Observation/none"));
    }

    [Fact]
    public async Task Of_a_new_version_only_the_rows_that_differ_are_written()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        var first = From("sum", "a", "b");
        first.Component = [Part("in", 1), Part("out", 2)];
        await store.Save(
            "night",
            [],
            Drainage("a", "2026-03-02T08:50:00Z", null, 1),
            Drainage("b", "2026-03-02T08:50:00Z", null, 2),
            first
        );
        var second = From("sum", "b", "a");
        second.Component = [Part("in", 1), Part("out", 3)];

        // The episode, the version, the current row, the component that says something else, and who did it; nothing is withheld.
        Assert.Equal(5, await Changes(() => store.Save("night", [], second)));

        async Task<long> Changes(Func<Task> work)
        {
            var before = await Total();
            await work();
            return await Total() - before;
        }

        Task<long> Total() => store.Database.Write(w => w.Statements.First("select total_changes()", row => row.GetInt64(0)), default);

        static Observation.ComponentComponent Part(string code, decimal value) =>
            new()
            {
                Code = new("https://ward.example/codes", code),
                Value = new Quantity { Value = value, Unit = "mL" },
            };
    }

    [Fact]
    public async Task Any_version_of_many_is_found_and_all_of_them_in_their_order()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        for (var n = 1; n <= 300; n++)
            await store.Save("night", [], Drainage("d", "2026-03-02T08:50:00Z", null, n), Drainage("e", "2026-03-02T08:50:00Z", null, n));

        Assert.Equal(17m, Value((await store.Resources.VersionRead("Observation", "d", 17, default))!));
        var page = await store.Resources.History("Observation", "d", 20, null, 100, default);
        Assert.Equal(Enumerable.Range(80, 20).Reverse().Select(n => (long)n), page.Select(version => version.VersionId));
        var ofType = await store.Resources.TypeHistory(IndexedTypes.Find("Observation")!, 3, null, null, [], default);
        Assert.Equal(["e 300", "d 300", "e 299"], ofType.Select(version => $"{version.Id} {version.VersionId}"));
        var next = await store.Resources.TypeHistory(IndexedTypes.Find("Observation")!, 2, null, (ofType[2].LastUpdated, "e"), [], default);
        Assert.Equal(["d 299", "e 298"], next.Select(version => $"{version.Id} {version.VersionId}"));
    }

    [Fact]
    public void A_type_that_is_not_served_is_not_stored()
    {
        var refused = Assert.Throws<ArgumentException>(() => ResourceDraft.Of(new Basic { Id = "b" }));
        Assert.Contains("Basic", refused.Message, StringComparison.Ordinal);
    }

    private static Observation From(string id, params string[] sources)
    {
        var observation = Drainage(id, "2026-03-02T08:50:00Z", null, 1);
        observation.DerivedFrom = [.. sources.Select(source => new ResourceReference($"Observation/{source}"))];
        return observation;
    }

    private static async Task<IEnumerable<string>> DerivedFrom(StoreOnDisk store, string target)
    {
        var query = new SearchQuery(
            IndexedTypes.Find("Observation")!,
            [new SearchCriterion.References("derived-from", [new ReferenceTest.Target(target)])],
            [],
            10
        );
        return (await store.Resources.Search(query, default)).Resources.Select(found => found.Id);
    }

    private static decimal? Value(ResourceVersion version) => ((Quantity)FhirJson.Read<Observation>(version.Json).Value!).Value;

    private static async Task<IEnumerable<string>> FindByCode(StoreOnDisk store, string code)
    {
        var query = new SearchQuery(
            IndexedTypes.Find("Observation")!,
            [new SearchCriterion.Coded(["code"], [new(null, code)], Not: false)],
            [],
            10
        );
        return (await store.Resources.Search(query, default)).Resources.Select(found => found.Id);
    }
}
