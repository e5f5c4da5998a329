using Hl7.Fhir.Model;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using NodaTime;

namespace IrrigationFhir.Episodes;

/// <summary>What is new about an episode's flags: the resources that say it, and what subscribers are told.</summary>
/// <param name="Resources">Flags that changed, and why any was withdrawn.</param>
/// <param name="Events">One for each flag that was raised, changed its priority, was cleared or retracted.</param>
internal sealed record FlagNews(IReadOnlyList<Resource> Resources, IReadOnlyList<OutboxEvent> Events)
{
    private const string Type = nameof(Flag);

    /// <summary>The news of an episode.</summary>
    /// <param name="after">The episode as it is now.</param>
    /// <param name="changes">What became of its flags.</param>
    /// <param name="because">What arrived; empty where time alone passed.</param>
    /// <param name="touched">Flags that somebody saw or called about: published again.</param>
    public static FlagNews Of(Episode after, IReadOnlyCollection<FlagChange> changes, IReadOnlyList<LoggedEntry> because, IEnumerable<FlagPeriod> touched)
    {
        var ended = after.Strays.Select(json => FlagMapper.Ended(FhirJson.Read<Flag>(json), after, after.Flags!.AsOf)).ToList();
        var seen = touched.Where(flag => changes.All(c => c.After?.Identity != flag.Identity)).Select(flag => FlagMapper.ToFlag(flag, after));
        return new(
            [.. EpisodeMapper.Flags(after, changes, because), .. seen, .. ended],
            [.. changes.Select(change => EventOf(change) is { } said ? new OutboxEvent(Type, FlagMapper.IdOf(after, (change.After ?? change.Before)!), said) : null).OfType<OutboxEvent>(), .. ended.Select(flag => new OutboxEvent(Type, flag.Id!, "cleared"))]);
    }

    /// <summary>A change of the episode with what it tells, and up to when its flags go then.</summary>
    public EpisodeChange In(EpisodeChange change, FlagRecord flags) => change with { Events = Events, FlagsAsOf = flags.AsOf, NextLook = flags.Next };

    /// <summary>Flags that an append's acknowledgements and calls are about.</summary>
    public static IEnumerable<FlagPeriod> Touched(Episode after, IEnumerable<Change> changes)
    {
        var about = changes.SelectMany(c => new[] { c.Before, c.After }).Where(e => e is FlagAcknowledged or Escalated).Select(e => e!.At).ToList();
        return about.Count == 0 ? [] : after.Flags!.Ended.Concat(after.Flags.Standing).Where(flag => about.Exists(at => flag.Start <= at && !(flag.End < at)));
    }

    private static string? EventOf(FlagChange change) => (change.Before, change.After) switch
    {
        (_, null) => "retracted",
        (null, { End: null }) => "raised",
        (null, _) => "cleared",
        ({ End: null }, { End: not null }) => "cleared",
        ({ End: not null }, { End: null }) => "raised",
        var (before, after) => before.Latest.Priority != after.Latest.Priority ? "changed" : null,
    };
}
