using System.ComponentModel;
using System.Text.Json.Serialization;
using Irrigation;
using Irrigation.Flags;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;

namespace IrrigationFhir.Episodes;

/// <summary>The flags of an episode: what stands, what cannot be told, what was.</summary>
/// <param name="AsOf">The moment of asking.</param>
/// <param name="Standing">Flags that stand, in the order of the rules.</param>
/// <param name="Undecided">Rules that nobody can answer.</param>
/// <param name="Ended">Flags that stood, the latest ended first.</param>
internal sealed record FlagsReport(
    [property: Description("The moment of asking.")] string AsOf,
    [property: Description("Flags that stand, in the order of the rules.")] IReadOnlyList<FlagReport> Standing,
    [property: Description("Rules that nobody can answer, why, and what would decide them.")] IReadOnlyList<UndecidedReport> Undecided,
    [property: Description("Flags that stood, the latest ended first; at most 200.")] IReadOnlyList<FlagReport> Ended
)
{
    private const int MostEnded = 200;

    /// <summary>Set where flags are left out that the token does not cover; absent where all are there.</summary>
    [Description("true where only those flags are told that the token covers: what is missing here may stand. Absent where all are told.")]
    [JsonIgnore(Condition = JsonIgnoreCondition.WhenWritingNull)]
    public bool? Partial { get; init; }

    /// <summary>
    /// The same with those flags alone. What nobody can tell is no flag yet, and nobody knows whether it would be one of them.
    /// </summary>
    /// <param name="ids">Their ids.</param>
    public FlagsReport Of(IReadOnlySet<string> ids) =>
        this with
        {
            Standing = [.. Standing.Where(flag => ids.Contains(flag.Id))],
            Undecided = [],
            Ended = [.. Ended.Where(flag => ids.Contains(flag.Id))],
            Partial = true,
        };

    /// <summary>The report.</summary>
    public static FlagsReport Of(Episode episode, FlagRecord flags)
    {
        var zone = episode.Definition.Frame.Zone;
        return new(
            FhirValues.Time(flags.AsOf, zone),
            [.. flags.Standing.Select(flag => FlagReport.Of(flag, episode))],
            [
                .. flags
                    .Findings.Where(f => f.Latest is Finding.Undecided)
                    .Select(f => UndecidedReport.Of(f.Rule, (Finding.Undecided)f.Latest!)),
            ],
            [.. Enumerable.Range(1, Math.Min(MostEnded, flags.Ended.Count)).Select(i => FlagReport.Of(flags.Ended[^i], episode))]
        );
    }
}

/// <summary>A flag.</summary>
internal sealed record FlagReport(
    [property: Description("Its code, the same as of the Flag.")] string Flag,
    [property: Description("The id of its Flag under /fhir.")] string Id,
    [property: Description("In words.")] string Title,
    [property: Description("low, medium, high or urgent: how soon somebody should look, by default.")] string Priority,
    [property: Description("What was seen: numbers, interval, threshold, since when.")] string Says,
    [property: Description("Whether it is said of a criterion that is not certainly met: confirm the measurement first.")] bool Possible,
    [property: Description("The probability that the criterion is met, 0 to 1; by every hour, at most so much. Absent without one.")]
        decimal? Probability,
    [property: Description("Whether that rests on a part that is still open, and is worked out again.")] bool Provisional,
    [property: Description("What to bear in mind.")] string Caution,
    [property: Description("What its definition rests on.")] string Source,
    [property: Description("When the pattern was there first.")] string Start,
    [property: Description("When it ended; absent while it stands.")] string? End,
    [property: Description("Why it ended.")] string? Ended,
    [property: Description("When a person first saw it.")] string? Acknowledged,
    [property: Description("Who.")] string? AcknowledgedBy,
    [property: Description("Minutes from its start to that.")] decimal? MinutesToAcknowledge,
    [property: Description("Calls about it while it stood.")] IReadOnlyList<EscalationReport> Escalations
)
{
    /// <summary>The report of a flag.</summary>
    public static FlagReport Of(FlagPeriod flag, Episode episode)
    {
        var (rule, zone, id) = (FlagRules.Find(flag.Slug)!, episode.Definition.Frame.Zone, FlagMapper.IdOf(episode, flag));
        var seen = FlagRecord.Acknowledged(episode.Log, flag, id);
        return new(
            flag.Slug,
            id,
            rule.Title,
            Slug.Of(flag.Latest.Priority),
            flag.Latest.Says,
            flag.Latest.Possible,
            flag.Latest.Criterion?.Probability is { } probability ? FhirValues.Probability(probability) : null,
            flag.Latest.Criterion?.Provisional ?? false,
            rule.Caution,
            rule.Source,
            FhirValues.Time(flag.Start, zone),
            flag.End is { } end ? FhirValues.Time(end, zone) : null,
            flag.Ended,
            seen is null ? null : FhirValues.Time(seen.At, zone),
            seen?.Header.Performer,
            seen is null ? null : FhirValues.Number((decimal)(seen.At - flag.Start).TotalMinutes),
            [
                .. FlagRecord
                    .Escalations(episode.Log, flag, id)
                    .Select(call => new EscalationReport(FhirValues.Time(call.At, zone), call.To, call.Reason)),
            ]
        );
    }
}

/// <summary>Somebody was called about a flag.</summary>
internal sealed record EscalationReport(
    [property: Description("When.")] string At,
    [property: Description("Who was called.")] string? Whom,
    [property: Description("Why.")] string? Reason
);

/// <summary>A rule that nobody can answer.</summary>
internal sealed record UndecidedReport(
    [property: Description("Its code.")] string Flag,
    [property: Description("In words.")] string Title,
    [property: Description("Why nobody can tell.")] string Why,
    [property: Description("What would decide it.")] string Needs
)
{
    /// <summary>The report of a finding.</summary>
    public static UndecidedReport Of(FlagRule rule, Finding.Undecided finding) => new(rule.Slug, rule.Title, finding.Why, finding.Needs);
}
