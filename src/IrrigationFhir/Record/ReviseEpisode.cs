using Hl7.Fhir.Model;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
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
    /// <summary>So many resources are there at once as resources: from then on only as what is stored of them.</summary>
    private const int AtOnce = 128;

    private SecurityLabels Labels { get; } = new(vocabulary.Profiles);
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
        var written = new Written();
        using var mapped = Resources(revision).Concat(Labels.On(events.Resources, after)).Chunk(AtOnce).GetEnumerator();
        while (mapped.MoveNext())
        {
            steps.Next("validate");
            Judge(mapped.Current, written, amends: true);
            if (mapped.Current.Length < AtOnce)
                break;
            steps.Next("map");
        }

        Judge([.. Labels.On(PublishedOtherwise(after, written), after)], written, amends: false);
        if (revision.Cause is Cause.TimePassed && written.Ids.Count == 0)
        {
            await store.RecordFlagsChecked(before.Row, flags.AsOf, flags.Next, stop);
            return new(episodes.Keep(after with { Row = after.Row with { FlagsAsOf = flags.AsOf } }), [], []);
        }

        if (written.Provenances.Count > 0)
            Take(await Versioned(written.Provenances, before, written.Valid, stop), written, amends: false);

        steps.Next("save");
        var (valid, withheld) = (written.Valid, written.Withheld);
        var described = revision.Cause is Cause.DescribedOtherwise ? after.Row : null;
        var remembered = memory.Of(after, described is not null);
        var change = new EpisodeChange(before.Row.PatientKey, before.Id, before.Row.Version, rows, valid, withheld)
        {
            Json = described?.Json,
            ClosedAt = described?.ClosedAt,
            Location = described?.Location,
            Events = [.. events.Events, .. written.Amended],
            FlagsAsOf = flags.AsOf,
            NextFlagCheck = flags.Next,
            SavedBy = memory.SavedBy,
            Remembered = remembered,
            Creates =
                revision.Appended is { } appended
                && appended.Outcomes.All(one => one.Disposition is Disposition.Recorded && one.Logged.Entry is not EnteredInError),
            About = [.. About(revision)],
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
    public IReadOnlyList<WithheldRow> Rehearse(Revision revision)
    {
        var written = new Written();
        Judge([.. Resources(revision), .. EpisodeEvents.Of(revision, EpisodeMapper, FlagMapper).Resources], written, amends: true);
        return written.Withheld;
    }

    /// <summary>What is to be stored of a revision. Resources are let go once it is known what is stored of them.</summary>
    private sealed class Written
    {
        /// <summary>What every resource is called, whatever became of it.</summary>
        public HashSet<string> Ids { get; } = [];

        /// <summary>Those that pass.</summary>
        public List<ResourceDraft> Valid { get; } = [];

        /// <summary>Those that do not.</summary>
        public List<WithheldRow> Withheld { get; } = [];

        /// <summary>Who said what: judged last, for they name versions of all others.</summary>
        public List<Provenance> Provenances { get; } = [];

        /// <summary>What is told of outputs that are not what they were.</summary>
        public List<OutboxEvent> Amended { get; } = [];
    }

    /// <param name="resources">Some of a revision's.</param>
    /// <param name="written">What is known of it so far.</param>
    /// <param name="amends">Whether subscribers hear of outputs that are not what they were.</param>
    private void Judge(IReadOnlyCollection<Resource> resources, Written written, bool amends)
    {
        written.Ids.UnionWith(resources.Select(resource => resource.Id!));
        written.Provenances.AddRange(resources.OfType<Provenance>());
        Take(resources.Distinct().Where(resource => resource is not Provenance), written, amends);
    }

    private void Take(IEnumerable<Resource> resources, Written written, bool amends)
    {
        List<ResourceDraft> drafts = [.. resources.Select(ResourceDraft.Of)];
        var faults = profiles.Validate([.. drafts.Select(draft => new WrittenResource(draft.Resource, draft.Content))]);
        foreach (var (draft, found) in drafts.Zip(faults))
        {
            if (!found.All(ProfileValidator.IsOfSender))
            {
                written.Withheld.Add(Withholding.ToRow(draft.Resource, found));
                continue;
            }

            if (amends && draft.Resource is Observation output && CorrectedUrineOutputMapper.IsAnother(output))
                written.Amended.Add(EpisodeEvents.Amends(output));
            written.Valid.Add(draft);
            draft.LetGo();
        }
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

    private IEnumerable<Resource> Resources(Revision revision) => Labels.On(Mapped(revision), revision.After);

    private IEnumerable<Resource> Mapped(Revision revision) =>
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

    /// <summary>The resources that whoever caused it meant: those of the entries, the flags that they speak of, or the irrigation.</summary>
    private static IEnumerable<string> About(Revision revision)
    {
        var after = revision.After;
        if (revision.Cause is Cause.DescribedOtherwise)
            yield return BladderIrrigationMapper.Whole(after).Reference!;
        foreach (var entry in revision.Appended?.Outcomes.Select(one => one.Logged.Entry) ?? [])
        {
            var said = entry is not EnteredInError
                ? entry
                : after.Log.Versions(entry.Key).LastOrDefault(version => version.Entry is not EnteredInError)?.Entry ?? entry;
            if (EntryMapper.IdOf(after, said) is { } own)
                yield return $"Observation/{own}";
            if (SentObservation.AsSentId(after, said) is { } sent)
                yield return $"Observation/{sent}";
            if (entry is FlagAcknowledged seen)
            {
                foreach (var flag in after.Flags!.Standing.Concat(after.Flags.Ended))
                {
                    if (FlagRecord.Names(seen.Flag, flag, FlagMapper.IdOf(after, flag)))
                        yield return $"Flag/{FlagMapper.IdOf(after, flag)}";
                }
            }
        }
    }

    private static readonly IReadOnlyDictionary<string, string> NothingOtherwise = new Dictionary<string, string>();

    /// <summary>What an earlier version published in another manner, in that of this one. Nobody is told: no number is another.</summary>
    private List<Resource> PublishedOtherwise(StoredEpisode after, Written written)
    {
        if (after.PublishedOtherwise.Count == 0)
            return [];
        var said = new HashSet<string>(written.Ids);
        List<Resource> anew = [.. EarlierManner.Anew(after, limits).Where(resource => said.Add(resource.Id!))];
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
