using Hl7.Fhir.Model;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Episodes;

/// <summary>What is new about an episode: the flags that changed, and what subscribers are told.</summary>
/// <param name="Resources">Flags that changed, and why any was withdrawn.</param>
/// <param name="Events">One for each flag that was raised, changed its priority, was cleared or retracted.</param>
internal sealed record FlagNews(IReadOnlyList<Resource> Resources, IReadOnlyList<OutboxEvent> Events)
{
    private const string Raised = "raised",
        Changed = "changed",
        Cleared = "cleared",
        Retracted = "retracted",
        Amended = "amended";

    /// <summary>The news of an episode.</summary>
    /// <param name="after">The episode as it is now.</param>
    /// <param name="changes">What became of its flags.</param>
    /// <param name="because">What arrived; empty where time alone passed.</param>
    /// <param name="touched">Flags that somebody saw or called about: published again.</param>
    public static FlagNews Of(
        Episode after,
        IReadOnlyCollection<FlagChange> changes,
        IReadOnlyList<LoggedEntry> because,
        IEnumerable<FlagPeriod> touched
    )
    {
        var ended = after.Strays.Select(json => FlagMapper.Ended(FhirJson.Read<Flag>(json), after, after.Flags!.AsOf)).ToList();
        var seen = touched
            .Where(flag => changes.All(c => c.After?.Identity != flag.Identity))
            .Select(flag => FlagMapper.ToFlag(flag, after));
        var changed = EpisodeMapper.Flags(after, changes, because).ToList();
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

    /// <summary>A change of the episode with what it tells, and up to when its flags go then.</summary>
    /// <param name="change">The change.</param>
    /// <param name="flags">The flags after it.</param>
    /// <param name="published">What it publishes: outputs that are not what they were are news too.</param>
    public EpisodeChange In(EpisodeChange change, FlagRecord flags, IEnumerable<Resource> published) =>
        change with
        {
            Events =
            [
                .. Events,
                .. published.OfType<Observation>().Where(CorrectedUrineOutputMapper.IsAnother).Select(output => Told(output, Amended)),
            ],
            FlagsAsOf = flags.AsOf,
            NextLook = flags.Next,
        };

    /// <summary>Flags that an append's acknowledgements and calls are about.</summary>
    public static IEnumerable<FlagPeriod> Touched(Episode after, IEnumerable<Change> changes)
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
            AlsoToldBefore = said is Retracted or Changed,
        };
}
