using System.Collections.Immutable;
using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Episodes;
using IrrigationFhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>Who corrected or withdrew an entry, when, and which resources became other ones by it.</summary>
internal static class CorrectionMapper
{
    /// <summary>One Provenance for each entry that an append amended or withdrew.</summary>
    public static IEnumerable<Provenance> ToProvenances(Episode episode, Appended appended, ImmutableArray<IntervalChange> changes)
    {
        foreach (var (disposition, logged) in appended.Outcomes.Where(o => o.Disposition is Disposition.Amended or Disposition.Retracted))
        {
            var versions = episode.Log.Versions(logged.Entry.Key);
            var own = versions
                .SelectMany(v => new[] { EntryMapper.IdOf(episode, v.Entry), SentObservation.AsSentId(episode, v.Entry) })
                .OfType<string>()
                .Distinct();
            var derived = changes
                .Where(c => c.Interval.Stream == FluidBalance.Bladder && Uses(c, logged.Entry.Key))
                .Select(c => CorrectedUrineOutputMapper.IdOf(episode, c.Interval));
            var targets = own.Concat(derived).Select(id => new ResourceReference($"Observation/{id}")).ToList();
            if (targets.Count > 0)
                yield return ToProvenance(episode, disposition, logged, targets);
        }
    }

    private static bool Uses(IntervalChange change, EntryKey key) =>
        new[] { change.Before, change.After }.OfType<ClosedInterval>().Any(i => i.Parts.Any(p => p.Entry == key));

    private static Provenance ToProvenance(Episode episode, Disposition disposition, LoggedEntry logged, List<ResourceReference> targets) =>
        new()
        {
            Id = FhirValues.EntryId(episode.Id, "correction", logged.Entry.Key) + $"-{logged.Revision}",
            Meta = new() { Profile = [Profiles.Correction] },
            Target = targets,
            Recorded = logged.KnownAt.ToDateTimeOffset(),
            Activity = disposition == Disposition.Retracted ? Codes.Nullified() : Codes.Revised(),
            Reason = logged.Entry is EnteredInError { Reason: { } reason } ? [new() { Text = reason }] : [],
            Agent =
            [
                new() { Who = FhirValues.Named(logged.Entry.Header.Performer ?? logged.Entry.Header.Device ?? logged.Entry.Key.Source)! },
            ],
        };
}
