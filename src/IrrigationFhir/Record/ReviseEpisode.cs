using Hl7.Fhir.Model;
using Irrigation.Criteria;
using Irrigation.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Store;
using IrrigationFhir.Validation;

namespace IrrigationFhir.Record;

/// <summary>An episode that was revised, as it is stored.</summary>
/// <param name="Episode">The episode.</param>
/// <param name="Changed">Resources that got a new version.</param>
/// <param name="Withheld">Resources of ours that failed their own profile.</param>
internal sealed record Revised(StoredEpisode Episode, IReadOnlyList<ResourceVersion> Changed, IReadOnlyList<WithheldRow> Withheld);

/// <summary>The end of the main path, whatever the cause: resources, their validation, one transaction.</summary>
internal sealed class ReviseEpisode(
    EpisodesInMemory episodes,
    EpisodeStore store,
    ProfileValidator profiles,
    EpisodeMemory memory,
    CriteriaSettings limits,
    Vocabulary vocabulary
)
{
    private EpisodeMapper EpisodeMapper { get; } = new(vocabulary);
    private EarlierManner EarlierManner { get; } = new(vocabulary);
    private FlagMapper FlagMapper { get; } = new(vocabulary);
    private CorrectedUrineOutputMapper CorrectedUrineOutputMapper { get; } = new(vocabulary);

    /// <summary>Publishes and stores what a cause makes of an episode.</summary>
    /// <param name="revision">What it makes of it.</param>
    /// <param name="sent">The entries as sent, in the order in which they were appended.</param>
    /// <param name="steps">The work so far.</param>
    /// <param name="stop">Gives up.</param>
    /// <returns>The episode as stored; null where somebody else was first: load and run again.</returns>
    public async ValueTask<Revised?> Save(Revision revision, IReadOnlyList<string> sent, Steps steps, CancellationToken stop)
    {
        var (before, after, flags) = (revision.Before, revision.After, revision.After.Flags!);
        var rows = Rows(revision, sent);
        if (revision.Cause is Cause.EntriesArrived && rows.Count == 0)
            return new(before, [], []); // repeated, all of them: nothing changes, not even up to when its flags go

        steps.Next("map");
        var events = EpisodeEvents.Of(revision, EpisodeMapper, FlagMapper);
        List<Resource> changed = [.. Resources(revision), .. events.Resources];
        var otherwise = PublishedOtherwise(after, changed).ToList();
        List<Resource> resources = [.. changed, .. otherwise];
        if (revision.Cause is Cause.TimePassed && resources.Count == 0)
        {
            await store.RecordFlagsChecked(before.Row, flags.AsOf, flags.Next, stop);
            return new(episodes.Keep(after with { Row = after.Row with { FlagsAsOf = flags.AsOf } }), [], []);
        }

        steps.Next("validate");
        var provenances = resources.OfType<Provenance>().ToList();
        var (valid, faulty) = Judged(resources.Except(provenances));
        if (provenances.Count > 0)
        {
            var (why, faultyToo) = Judged(await Versioned(provenances, before, valid, stop));
            valid.AddRange(why);
            faulty.AddRange(faultyToo);
        }

        steps.Next("save");
        var withheld = faulty.ToRows();
        var described = revision.Cause is Cause.DescribedOtherwise ? after.Row : null;
        var remembered = memory.Of(after);
        var change = new EpisodeChange(before.Row.PatientKey, before.Id, before.Row.Version, rows, valid, withheld)
        {
            Json = described?.Json,
            ClosedAt = described?.ClosedAt,
            Location = described?.Location,
            Events = events.With(
                valid.Select(draft => draft.Resource).Except(otherwise).OfType<Observation>().Where(CorrectedUrineOutputMapper.IsAnother)
            ),
            FlagsAsOf = flags.AsOf,
            NextFlagCheck = flags.Next,
            SavedBy = memory.SavedBy,
            Remembered = remembered,
        };
        if (await store.Save(change, stop) is not SaveOutcome.Saved saved)
            return null;

        // What was stored already leaves the episode as it was, and it has to be remembered how far its flags go.
        if (saved.Version == before.Row.Version)
            await store.RecordFlagsChecked(before.Row, flags.AsOf, flags.Next, stop);
        var row = after.Row with { Version = saved.Version, LastSequence = after.Log.LastSequence, FlagsAsOf = flags.AsOf };
        var kept = after with
        {
            Row = row,
            FlagsNoLongerRaised = [],
            PublishedOtherwise = NothingOtherwise,
            RememberedUpTo = remembered?.LastSequence ?? after.RememberedUpTo,
        };
        return new(episodes.Keep(kept), saved.Changed, withheld);
    }

    /// <summary>Makes and judges the resources as <see cref="Save"/> does, and stores nothing.</summary>
    /// <param name="revision">What a cause makes of an episode.</param>
    /// <returns>What is wrong with them.</returns>
    public IReadOnlyList<ProfileFault> Rehearse(Revision revision)
    {
        var events = EpisodeEvents.Of(revision, EpisodeMapper, FlagMapper);
        return [.. Judged([.. Resources(revision), .. events.Resources]).Faulty.SelectMany(faulty => faulty.Item2)];
    }

    private (List<ResourceDraft> Valid, List<(Resource, IReadOnlyList<ProfileFault>)> Faulty) Judged(IEnumerable<Resource> resources)
    {
        List<ResourceDraft> drafts = [.. resources.Select(ResourceDraft.Of)];
        var faults = profiles.Validate([.. drafts.Select(draft => new WrittenResource(draft.Resource, draft.Content))]);
        var judged = drafts.Zip(faults).ToLookup(pair => pair.Second.All(ProfileValidator.IsOfSender));
        return (
            [.. judged[true].Select(pair => pair.First)],
            [.. judged[false].Select(pair => (pair.First.Resource, (IReadOnlyList<ProfileFault>)pair.Second))]
        );
    }

    /// <summary>
    /// Who says what of which version. The numbers hold: whoever else changes the episode meanwhile makes this be done again.
    /// </summary>
    private async Task<IEnumerable<Provenance>> Versioned(
        List<Provenance> provenances,
        StoredEpisode before,
        List<ResourceDraft> written,
        CancellationToken stop
    )
    {
        var stored = await store.Versions(before.Row.PatientKey, ProvenanceVersions.Addresses(provenances), stop);
        var drafts = written.ToLookup(draft => $"{draft.Type}/{draft.Id}");
        return provenances.Where(provenance => ProvenanceVersions.Name(provenance, stored, drafts));
    }

    private IEnumerable<Resource> Resources(Revision revision) =>
        (revision.Cause, revision.Before, revision.After) switch
        {
            (Cause.EntriesArrived, var before, var after) => EpisodeMapper.ToResources(
                before,
                after,
                revision.Appended!,
                revision.Intervals,
                revision.Weighed,
                limits
            ),
            (Cause.DescribedOtherwise, var before, var after) => EpisodeMapper.ToResources(
                before,
                after,
                revision.Intervals,
                revision.Weighed,
                limits
            ),
            _ => [],
        };

    private static readonly IReadOnlyDictionary<string, string> NothingOtherwise = new Dictionary<string, string>();

    /// <summary>What an earlier version published in another manner, in that of this one. Nobody is told: no number is another.</summary>
    private IEnumerable<Resource> PublishedOtherwise(StoredEpisode after, IReadOnlyList<Resource> changed)
    {
        if (after.PublishedOtherwise.Count == 0)
            return [];
        var said = changed.Select(resource => resource.Id).ToHashSet();
        List<Resource> anew = [.. EarlierManner.Anew(after, limits).Where(resource => said.Add(resource.Id))];
        var gone = after.PublishedOtherwise.Where(published => !said.Contains(published.Key));
        return [.. anew, .. gone.Select(published => EarlierManner.Withdrawn(FhirJson.Read<Observation>(published.Value), after))];
    }

    /// <summary>What came into the log, with what the service wrote itself; of what was repeated nothing.</summary>
    private static List<EntryRow> Rows(Revision revision, IReadOnlyList<string> sent)
    {
        if (revision.Appended is not { } appended)
            return [];
        var own = appended.Outcomes.Skip(sent.Count).Select(outcome => EntryReader.Write((FlagRevised)outcome.Logged.Entry));
        return
        [
            .. sent.Concat(own)
                .Zip(appended.Outcomes)
                .Where(pair => pair.Second.Disposition != Disposition.Repeated)
                .Select(pair => Row(pair.First, pair.Second.Logged)),
        ];
    }

    private static EntryRow Row(string json, LoggedEntry logged) =>
        new(
            logged.Sequence,
            logged.Entry.Key.Source,
            logged.Entry.Key.Id,
            logged.Revision,
            logged.Entry.Kind,
            logged.Entry.At,
            logged.ReceivedAt,
            json
        );
}
