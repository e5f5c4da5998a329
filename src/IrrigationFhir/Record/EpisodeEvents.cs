using Hl7.Fhir.Model;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Store;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Record;

/// <summary>What is new about an episode: the flags that changed, and what subscribers are told of it.</summary>
/// <param name="Resources">Flags that changed, and why any was withdrawn.</param>
/// <param name="Events">One for each flag that was raised, changed its priority, was cleared or retracted.</param>
internal sealed record EpisodeEvents(IReadOnlyList<Resource> Resources, IReadOnlyList<OutboxEvent> Events)
{
    private const string Raised = "raised",
        Changed = "changed",
        Cleared = "cleared",
        Retracted = "retracted",
        Amended = "amended";

    /// <summary>What is new by a cause: flags that became others, and flags that somebody saw or called about, published again.</summary>
    public static EpisodeEvents Of(Revision revision, EpisodeMapper mapper, FlagMapper flagMapper)
    {
        var (after, changes) = (revision.After, revision.Flags);
        var ended = after
            .FlagsNoLongerRaised.Select(json => flagMapper.Ended(FhirJson.Read<Flag>(json), after, after.Flags!.AsOf))
            .ToList();
        var seen = SeenOrCalledAbout(after, revision.Appended?.Changes ?? [])
            .Where(flag => changes.All(c => c.After?.Identity != flag.Identity))
            .Select(flag => flagMapper.ToFlag(flag, after));
        var changed = mapper.Flags(after, changes, revision.Cause).ToList();
        var flags = changed.OfType<Flag>().ToDictionary(flag => flag.Id!);
        return new(
            [.. changed, .. seen, .. ended],
            [
                .. changes
                    .OrderBy(BecameSo)
                    .Select(change =>
                        EventOf(change) is { } said ? Told(flags[FlagMapper.IdOf(after, (change.After ?? change.Before)!)], said) : null
                    )
                    .OfType<OutboxEvent>(),
                .. ended.Select(flag => Told(flag, Cleared)),
            ]
        );
    }

    /// <summary>What is told of an output that is not what it was.</summary>
    public static OutboxEvent Amends(Observation output) => Told(output, Amended);

    /// <summary>Flags that an append's acknowledgements and calls are about.</summary>
    private static IEnumerable<FlagPeriod> SeenOrCalledAbout(Episode after, IEnumerable<Change> changes)
    {
        var about = changes
            .SelectMany(c => new[] { c.Before, c.After })
            .Where(e => e is FlagAcknowledged or Escalated)
            .Select(e => e!.At)
            .ToList();
        return about.Count == 0
            ? []
            : after.Flags!.Ended.Concat(after.Flags.Standing).Where(flag => about.Exists(at => flag.Start <= at && !(flag.End < at)));
    }

    /// <summary>When what a change tells became so: subscribers hear of it in that order.</summary>
    private static Instant BecameSo(FlagChange change) =>
        change switch
        {
            { After: null, Before: var gone } => gone!.Start,
            { After: var flag } => flag.End ?? flag.Start,
        };

    private static string? EventOf(FlagChange change) =>
        (change.Before, change.After) switch
        {
            (_, null) => Retracted,
            (null, { End: null }) => Raised,
            (null, _) => Cleared,
            ({ End: null }, { End: not null }) => Cleared,
            ({ End: not null }, { End: null }) => Raised,
            ({ End: null } before, { End: null } after) => before.Latest.Priority != after.Latest.Priority ? Changed : null,
            _ => null, // it is over, and was
        };

    /// <remarks>
    /// Who was told of a flag is told that it is taken back, or that it asks for attention sooner or later, whatever else it wanted to
    /// hear.
    /// </remarks>
    private static OutboxEvent Told(Resource resource, string said) =>
        new(resource.TypeName, resource.Id!, said)
        {
            Topics =
            [
                (
                    said switch
                    {
                        Raised or Changed => Topics.FlagRaised,
                        Cleared or Retracted => Topics.FlagResolved,
                        _ => Topics.CorrectedOutputAmended,
                    }
                ).Slug,
            ],
            Attributes = EventAttributes.Compared(resource),
            AlsoToEarlierRecipients = said is Retracted or Changed,
        };
}
