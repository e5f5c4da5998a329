using IrrigationFhir.Search;
using IrrigationFhir.Store;
using static IrrigationFhir.Tests.Store.StoreOnDisk;
using Instant = NodaTime.Instant;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Store;

public class EpisodeStoreTests
{
    [Fact]
    public async Task An_episode_is_found_by_id_by_its_identifier_and_by_its_patient()
    {
        await using var store = New();
        var opened = await store.OpenEpisode("night-1");
        await store.OpenEpisode("night-2");
        await store.OpenEpisode("elsewhere", "P-2");

        Assert.Equal(opened, await store.Episodes.Find("night-1", default));
        Assert.Equal(opened, await store.Episodes.FindByIdentifier("https://ward.example/episodes", "E-night-1", "", default));
        Assert.Equal(
            ["night-1", "night-2"],
            (await store.Episodes.FindByPatient(PatientSystem, "P-1", null, default)).Select(row => row.Id)
        );
        Assert.Equal(["elsewhere"], (await store.Episodes.FindByPatient(null, "P-2", null, default)).Select(row => row.Id));
        Assert.Null(await store.Episodes.Find("never", default));
        Assert.Empty(await store.Episodes.FindByPatient("https://another.example", "P-1", null, default));
    }

    [Fact]
    public async Task A_second_episode_of_the_same_identifier_is_answered_with_the_first()
    {
        await using var store = New();
        var first = await store.OpenEpisode("night-1");

        var second = await store.Episodes.Open(Episode("night-1b") with { Identifier = first.Identifier }, default);

        Assert.Equal(first, Assert.IsType<OpenOutcome.AlreadyThere>(second).Episode);
        Assert.Null(await store.Episodes.Find("night-1b", default));
    }

    [Fact]
    public async Task Entries_come_back_in_order_of_arrival_with_their_instants_to_the_nanosecond()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        EntryRow[] rows = [Entry(1, "a"), Entry(2, "b"), Entry(3, "a", revision: 2)];

        var saved = await store.Save("night", rows);

        Assert.Equal(2, saved.Version);
        Assert.Equal(rows, await store.Episodes.LoadEntries("key-P-1", "night", 0, default));
        Assert.Equal(rows[2..], await store.Episodes.LoadEntries("key-P-1", "night", 2, default));
        Assert.Equal(3, (await store.Episodes.Find("night", default))!.LastSequence);
    }

    [Fact]
    public async Task Who_computed_from_an_old_version_is_told_and_stores_nothing()
    {
        await using var store = New();
        var opened = await store.OpenEpisode("night");
        await store.Save("night", [Entry(1, "a")]);

        var late = await store.Episodes.Save(Change(opened, [Entry(1, "b")], Drainage("d", "2026-03-02T08:50:00Z", null, 420)), default);

        Assert.Equal(new SaveOutcome.VersionConflict(Expected: 1, Actual: 2), late);
        Assert.Equal(["a"], (await store.Episodes.LoadEntries("key-P-1", "night", 0, default)).Select(row => row.EntryId));
        Assert.Null(await store.Resources.Read("Observation", "d", default));
    }

    [Fact]
    public async Task The_same_entry_cannot_be_stored_twice_not_even_within_one_change()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        await store.Save("night", [Entry(1, "a")]);
        var episode = (await store.Episodes.Find("night", default))!;

        var again = await store.Episodes.Save(Change(episode, [Entry(2, "b"), Entry(3, "a")]), default);
        var twins = await store.Episodes.Save(Change(episode, [Entry(2, "c"), Entry(3, "c")]), default);

        Assert.Equal(new SaveOutcome.RepeatedEntry("charting", "a", 1), again);
        Assert.Equal(new SaveOutcome.RepeatedEntry("charting", "c", 1), twins);
        Assert.Equal(["a"], (await store.Episodes.LoadEntries("key-P-1", "night", 0, default)).Select(row => row.EntryId));
        Assert.Equal(2, (await store.Episodes.Find("night", default))!.Version);
    }

    [Fact]
    public async Task Fifty_writers_of_one_episode_all_get_in_by_trying_again()
    {
        await using var store = New();
        await store.OpenEpisode("night");

        await Task.WhenAll(
            Enumerable
                .Range(0, 50)
                .Select(writer =>
                    Task.Run(async () =>
                    {
                        SaveOutcome outcome;
                        do
                        {
                            var episode = (await store.Episodes.Find("night", default))!;
                            outcome = await store.Episodes.Save(Change(episode, [Entry(episode.LastSequence + 1, $"w{writer}")]), default);
                        } while (outcome is not SaveOutcome.Saved);
                    })
                )
        );

        var rows = await store.Episodes.LoadEntries("key-P-1", "night", 0, default);
        Assert.Equal(Enumerable.Range(1, 50).Select(n => (long)n), rows.Select(row => row.Sequence));
        Assert.Equal(50, rows.Select(row => row.EntryId).Distinct().Count());
        Assert.Equal(51, (await store.Episodes.Find("night", default))!.Version);
    }

    [Fact]
    public async Task One_writers_failure_is_not_the_failure_of_those_who_ride_along()
    {
        await using var store = New();
        var opened = await store.OpenEpisode("night");
        await store.OpenEpisode("other", "P-2");
        await store.Save("other", [], Drainage("taken", "2026-03-02T08:50:00Z", null, 1, "P-2"));

        // The line is held until all three wait in it, so that they share a transaction.
        var held = new ManualResetEventSlim();
        var holder = store.Database.Write(
            _ =>
            {
                held.Wait();
                return 0;
            },
            default
        );
        var foreign = store.Episodes.Save(
            Change(
                opened,
                [Entry(1, "a")],
                Drainage("fine", "2026-03-02T08:50:00Z", null, 1),
                Drainage("taken", "2026-03-02T08:50:00Z", null, 2)
            ),
            default
        );
        var unknown = store.Episodes.Save(Change(Episode("never"), [Entry(1, "a")]), default);
        var good = store.Episodes.Save(Change(opened, [Entry(1, "b")]), default);
        held.Set();
        await holder;

        // "taken" is the id of another patient's resource: a broken invariant, so an exception.
        await Assert.ThrowsAnyAsync<System.Data.Common.DbException>(() => foreign);
        await Assert.ThrowsAsync<InvalidOperationException>(() => unknown);
        Assert.Equal(2, Assert.IsType<SaveOutcome.Saved>(await good).Version);
        Assert.Equal(["b"], (await store.Episodes.LoadEntries("key-P-1", "night", 0, default)).Select(row => row.EntryId));
        Assert.Null(await store.Resources.Read("Observation", "fine", default));
    }

    [Fact]
    public async Task A_change_that_changes_nothing_leaves_the_version_alone()
    {
        await using var store = New();
        await store.OpenEpisode("night");
        await store.Save("night", [], Drainage("d", "2026-03-02T08:50:00Z", null, 420));

        var again = await store.Save("night", [], Drainage("d", "2026-03-02T08:50:00Z", null, 420));

        Assert.Equal(2, again.Version);
        Assert.Empty(again.Changed);
        Assert.Equal(2, (await store.Episodes.Find("night", default))!.Version);
    }

    [Fact]
    public async Task An_episode_is_due_when_time_alone_may_change_its_flags()
    {
        await using var store = New();
        foreach (var id in new[] { "a", "b", "c" })
            await store.OpenEpisode(id, "P-" + id);

        var episode = (await store.Episodes.Find("b", default))!;
        await store.Episodes.Save(Change(episode, []) with { ClosedAt = At("2026-03-02T12:00:00Z"), Json = "{}" }, default);

        var opened = episode.OpenedAt;
        Assert.Equal(["a", "b", "c"], await store.Episodes.FindWithFlagsDue(opened, 10, default)); // an episode is looked at when it begins
        await store.Episodes.RecordFlagsChecked(
            (await store.Episodes.Find("a", default))!,
            opened,
            opened + NodaTime.Duration.FromHours(1),
            default
        );
        await store.Episodes.RecordFlagsChecked((await store.Episodes.Find("b", default))!, opened, null, default);
        await store.Episodes.RecordFlagsChecked(episode, opened, opened, default); // the version of before it was closed: too late
        Assert.Equal(["c"], await store.Episodes.FindWithFlagsDue(opened + NodaTime.Duration.FromMinutes(59), 10, default));
        Assert.Equal(["c", "a"], await store.Episodes.FindWithFlagsDue(opened + NodaTime.Duration.FromMinutes(60), 10, default));
        Assert.Equal(["c"], await store.Episodes.FindWithFlagsDue(opened + NodaTime.Duration.FromMinutes(60), 1, default));
        var closed = (await store.Episodes.Find("b", default))!;
        Assert.Equal((At("2026-03-02T12:00:00Z"), "{}", 2L), (closed.ClosedAt!.Value, closed.Json, closed.Version));
    }

    [Fact]
    public async Task A_withheld_resource_is_counted_once_until_it_is_valid()
    {
        await using var store = New();
        var episode = await store.OpenEpisode("night");
        var withheld = Change(episode, []) with { Withheld = [new("Observation", "d", "obs-6")] };

        var first = Assert.IsType<SaveOutcome.Saved>(await store.Episodes.Save(withheld, default));
        var second = await store.Episodes.Save(withheld with { ExpectedVersion = first.Version }, default);

        Assert.Equal(first.Version, Assert.IsType<SaveOutcome.Saved>(second).Version);
        Assert.Equal(1, await store.Resources.CountWithheld(default));

        await store.Save("night", [], Drainage("d", "2026-03-02T08:50:00Z", null, 420));
        Assert.Equal(0, await store.Resources.CountWithheld(default));
    }

    [Fact]
    public void An_instant_outside_what_can_be_kept_is_refused_rather_than_bent()
    {
        Assert.Throws<OverflowException>(() => UnixNanoseconds.Of(Instant.FromUtc(2300, 1, 1, 0, 0)));
        Assert.Equal(long.MaxValue, UnixNanoseconds.Nearest(Instant.FromUtc(2300, 1, 1, 0, 0)));
    }
}
