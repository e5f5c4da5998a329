using System.Collections.Immutable;
using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using IrrigationFhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>Who corrected or withdrew an entry, when, and which resources became other ones by it.</summary>
internal sealed class CorrectionMapper(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;

    /// <summary>One Provenance for each entry that an append amended or withdrew.</summary>
    /// <param name="before">The episode as it was, with its criteria.</param>
    /// <param name="episode">As it is, with its criteria.</param>
    /// <param name="appended">What came into the log.</param>
    /// <param name="changes">Closed intervals that are new or became others.</param>
    public IEnumerable<Provenance> ToProvenances(Episode before, Episode episode, Appended appended, ImmutableArray<IntervalChange> changes)
    {
        foreach (var (disposition, logged) in appended.Outcomes.Where(o => o.Disposition is Disposition.Amended or Disposition.Retracted))
        {
            var versions = episode.Log.Versions(logged.Entry.Key);
            var own = versions
                .SelectMany(v => new[] { EntryMapper.IdOf(episode, v.Entry), SentObservation.AsSentId(episode, v.Entry) })
                .OfType<string>()
                .Distinct()
                .ToList();
            var derived = changes
                .Where(c => c.Interval.Stream == FluidBalance.Bladder && Uses(c, logged.Entry.Key))
                .Select(c => CorrectedUrineOutputMapper.IdOf(episode, c.Interval))
                .ToList();
            var answers = derived.Count > 0 ? AnsweredOtherwise(before, episode) : [];
            var targets = own.Concat(derived).Concat(answers).Select(id => new ResourceReference($"Observation/{id}")).ToList();
            if (targets.Count > 0)
                yield return ToProvenance(episode, disposition, logged, targets, own);
        }
    }

    /// <summary>Criteria of which an answer that had been given is another one now.</summary>
    private static IEnumerable<string> AnsweredOtherwise(Episode before, Episode after) =>
        CriteriaRecord
            .Changes(before.Criteria!, after.Criteria!)
            .Where(change => change.Before is not null && change.After?.Continues(change.Before) != true)
            .Select(change => UrineOutputCriterionMapper.IdOf(after, change.Before!.Slug));

    private static bool Uses(IntervalChange change, EntryKey key) =>
        new[] { change.Before, change.After }.OfType<ClosedInterval>().Any(i => i.Parts.Any(p => p.Entry == key));

    /// <remarks>Versions of what is pointed at are put in when they are known, as it is stored.</remarks>
    private Provenance ToProvenance(
        Episode episode,
        Disposition disposition,
        LoggedEntry logged,
        List<ResourceReference> targets,
        List<string> corrected
    )
    {
        var header = logged.Entry.Header;
        return new()
        {
            Id = FhirValues.EntryId(episode.Id, "correction", logged.Entry.Key) + $"-{logged.Revision}",
            Meta = new() { Profile = [Profiles.Correction] },
            Target = targets,
            Extension = [BladderIrrigationMapper.PartOf(episode, Profiles)],
            Occurred = header.RecordedAt is { } charted ? new FhirDateTime(FhirValues.Time(charted, episode.Definition.Frame.Zone)) : null,
            Recorded = logged.ReceivedAt.ToDateTimeOffset(),
            Activity = disposition == Disposition.Retracted ? Codes.Nullified() : Codes.Revised(),
            Reason = logged.Entry is EnteredInError { Reason: { } reason } ? [new() { Text = reason }] : [],
            Agent = [Agent(logged.Entry)],
            Entity =
            [
                .. corrected.Select(id => new Provenance.EntityComponent
                {
                    Role = Provenance.ProvenanceEntityRole.Revision,
                    What = new($"Observation/{id}"),
                }),
            ],
        };
    }

    /// <summary>Who said it: a person is its author; a device or system only brought it in.</summary>
    public static Provenance.AgentComponent Agent(Entry entry) =>
        entry.Header.Performer is { } person
            ? new() { Type = Codes.Agent("author"), Who = FhirValues.Named(person)! }
            : new() { Type = Codes.Agent("enterer"), Who = FhirValues.Named(entry.Header.Device ?? entry.Key.Source)! };
}
