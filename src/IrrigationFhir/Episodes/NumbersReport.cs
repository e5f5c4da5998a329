using Irrigation.Balance;
using Irrigation.Flags;
using IrrigationFhir.Fhir;
using IrrigationFhir.Rest;
using NodaTime;

namespace IrrigationFhir.Episodes;

/// <summary>The numbers that a ward round asks for.</summary>
/// <param name="SinceStart">Since the episode began.</param>
/// <param name="Since">Since the moment that was asked for, e.g. the end of theatre; absent where none was.</param>
/// <param name="Days">By the local day, at most the last 31; the last is not over.</param>
/// <param name="Looks">How long the drainage looked how, the darkest grade of a scale first. The last look lasts 0 h.</param>
/// <param name="Weaning">The site's conditions for doing without irrigation.</param>
/// <param name="WeaningCaution">What to bear in mind.</param>
internal sealed record NumbersReport(
    AccountReport SinceStart,
    AccountReport? Since,
    IReadOnlyList<AccountReport> Days,
    IReadOnlyList<LooksReport> Looks,
    IReadOnlyList<ConditionReport> Weaning,
    string WeaningCaution
)
{
    private const int MostDays = 31;

    /// <summary>What is said beside the conditions.</summary>
    public const string Ordered = "Whether the irrigation is stopped is for whoever ordered it.";

    /// <summary>The numbers.</summary>
    /// <param name="flags">The flags as of the moment of asking.</param>
    /// <param name="since">A moment that was asked for; null for none.</param>
    public static NumbersReport Of(FlagRecord flags, Instant? since)
    {
        var (bedside, frame) = (flags.Now, flags.Now.Log.Frame);
        var at = bedside.At;
        return new(
            AccountReport.Of(Account.Of(bedside.Balance, frame.Start, at), frame.Zone),
            since is { } from ? AccountReport.Of(Account.Of(bedside.Balance, from, at), frame.Zone) : null,
            [.. Account.Days(bedside.Balance, at, MostDays).Select(day => AccountReport.Of(day, frame.Zone))],
            [.. LooksOverTime.Of(bedside.Log, frame.Start, at).Select(alike => LooksReport.Of(alike, frame.Zone))],
            [.. WeaningConditions.Of(flags).Select(condition => ConditionReport.Of(condition, frame.Zone))],
            Ordered
        );
    }
}

/// <summary>What ran in and what came of it over a time.</summary>
/// <param name="Start">From when.</param>
/// <param name="End">Up to when.</param>
/// <param name="Irrigant">What ran in, as charted; absent where that is not known, which is not 0.</param>
/// <param name="IrrigantBest">The best estimate of that.</param>
/// <param name="Irrigant95">Its 95 % interval.</param>
/// <param name="IrrigantAbsent">Why it is not known: where no flow is charted, the line and the minutes.</param>
/// <param name="OutputUntil">The last reading of the drainage in that time: up to it the output is known.</param>
/// <param name="Output">The corrected urine output up to then; absent where it cannot be worked out.</param>
/// <param name="OutputAbsent">Why there is none.</param>
internal sealed record AccountReport(
    string Start,
    string End,
    Amount? Irrigant,
    Amount? IrrigantBest,
    RangeReport? Irrigant95,
    string? IrrigantAbsent,
    string OutputUntil,
    OutputReport? Output,
    string? OutputAbsent
)
{
    /// <summary>The report of an account.</summary>
    public static AccountReport Of(Account account, DateTimeZone zone) =>
        new(
            FhirValues.Time(account.Start, zone),
            FhirValues.Time(account.End, zone),
            Amount.Of(account.Irrigant?.Charted),
            Amount.Of(account.Irrigant?.Best),
            account.Irrigant95 is { } range ? new(Amount.Of(range.Low)!, Amount.Of(range.High)!) : null,
            account.AbsentSays,
            FhirValues.Time(account.Output.End, zone),
            OutputReport.Of(account.Output.Output),
            account.Output.Absent is { } absent ? Irrigation.Words.Of(absent) : null
        );
}

/// <summary>How long the drainage looked alike.</summary>
/// <param name="Says">What it looked like.</param>
/// <param name="Grade">The grade; absent where only a colour was charted.</param>
/// <param name="Scale">Its scale, where it was named.</param>
/// <param name="Looks">How often it was seen so.</param>
/// <param name="Lasted">From each of these looks to the next, together, in h.</param>
/// <param name="First">When it was seen so first.</param>
/// <param name="Last">When it was seen so last.</param>
internal sealed record LooksReport(string Says, int? Grade, string? Scale, int Looks, Amount Lasted, string First, string Last)
{
    /// <summary>The report.</summary>
    public static LooksReport Of(LooksAlike alike, DateTimeZone zone) =>
        new(
            alike.Says,
            alike.Grade,
            alike.Scale,
            alike.Looks,
            Amount.Of(alike.Lasted),
            FhirValues.Time(alike.First, zone),
            FhirValues.Time(alike.Last, zone)
        );
}

/// <summary>A condition for doing without irrigation.</summary>
/// <param name="Name">What has to hold.</param>
/// <param name="Holds">Whether it does; absent where nobody can tell.</param>
/// <param name="Since">Since when, or when it last did not; absent where that is not known.</param>
/// <param name="Says">What was seen, or why nobody can tell.</param>
/// <param name="Source">What the condition rests on.</param>
internal sealed record ConditionReport(string Name, bool? Holds, string? Since, string Says, string Source)
{
    /// <summary>The report of a condition.</summary>
    public static ConditionReport Of(WeaningCondition condition, DateTimeZone zone) =>
        new(
            condition.Name,
            condition.Holds,
            condition.Since is { } since ? FhirValues.Time(since, zone) : null,
            condition.Says,
            condition.Source
        );
}
