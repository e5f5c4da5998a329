using System.ComponentModel;
using System.Globalization;
using System.Text;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Flags;
using IrrigationFhir.Fhir;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Beds;

/// <summary>The list of a ward as it is answered.</summary>
internal sealed record WardReport(
    [property: Description("The moment of asking, UTC.")] string AsOf,
    [property: Description("Every open irrigation, by who needs a person first.")] IReadOnlyList<BedReport> Beds,
    [property: Description("The ids of open episodes that cannot be judged, for whatever reason: look at those patients.")]
        IReadOnlyList<string> NotJudged
)
{
    /// <summary>The report.</summary>
    public static WardReport Of(IReadOnlyList<BedOnWard> beds, IReadOnlyList<string> notJudged, Instant at) =>
        new(InstantPattern.General.Format(at), [.. beds.Select(BedReport.Of)], notJudged);
}

/// <summary>One bed.</summary>
internal sealed record BedReport(
    [property: Description("The episode's id.")] string Episode,
    [property: Description("Where the patient lies, by the ward's names; absent where nobody says.")] LocationReport? Location,
    [property: Description("The patient: the text for people, or the identifier's value.")] string Patient,
    [property: Description("The day of the irrigation by the calendar, 1 on the first.")] int Day,
    [property: Description("Why it stands where it does: urgent, not-read, high, due or quiet.")] string Attention,
    [property: Description("What is wrong: the flags that stand, the most urgent first.")] IReadOnlyList<WrongReport> Wrong,
    [property: Description("When the drainage was read last; absent where it never was.")] string? LastReading,
    [property: Description("Minutes since then.")] decimal? MinutesSinceReading,
    [property: Description("What ran in since then, mL, as charted; absent where that is not known, which is not 0.")]
        decimal? InSinceReading,
    [property: Description("What is due, the earliest first; each is worked out from what was charted last.")] IReadOnlyList<DueReport> Due,
    [property: Description("Flags that nobody acknowledged.")] int Unseen
)
{
    /// <summary>The report of a bed.</summary>
    public static BedReport Of(BedOnWard bed)
    {
        var (definition, zone) = (bed.Episode.Definition, bed.Episode.Definition.Frame.Zone);
        return new(
            bed.Episode.Id,
            definition.Location is { } location ? new(location.Ward, location.Room, location.Bed) : null,
            WardInWords.Patient(bed),
            bed.Day,
            Slug.Of(bed.Attention),
            [.. bed.Flags.Select(flag => WrongReport.Of(flag, bed))],
            bed.LastReading is { } read ? FhirValues.Time(read, zone) : null,
            bed.LastReading is { } then ? Minutes(bed.At - then) : null,
            bed.InSince is { } ran ? FhirValues.Number(ran.Millilitres) : null,
            [.. bed.Due.Select(due => new DueReport(due.What, FhirValues.Time(due.At, zone), Minutes(due.At - bed.At)))],
            bed.Unseen
        );
    }

    private static decimal Minutes(Duration time) => Math.Floor((decimal)time.TotalMinutes);
}

/// <summary>Where a patient lies.</summary>
internal sealed record LocationReport(
    [property: Description("The ward.")] string Ward,
    [property: Description("The room.")] string? Room,
    [property: Description("The bed.")] string? Bed
);

/// <summary>A flag at a bed.</summary>
internal sealed record WrongReport(
    [property: Description("Its code, the same as of the Flag.")] string Flag,
    [property: Description("The id of its Flag under /fhir.")] string Id,
    [property: Description("In words.")] string Title,
    [property: Description("low, medium, high or urgent.")] string Priority,
    [property: Description("When the pattern was there first.")] string Since,
    [property: Description("What was seen, with numbers, interval and threshold.")] string Says,
    [property: Description("When a person first saw it; absent where nobody did.")] string? Acknowledged
)
{
    /// <summary>The report of a flag.</summary>
    public static WrongReport Of(FlagAtBed flag, BedOnWard bed)
    {
        var zone = bed.Episode.Definition.Frame.Zone;
        return new(
            flag.Flag.Slug,
            FlagMapper.IdOf(bed.Episode, flag.Flag),
            FlagRules.Find(flag.Flag.Slug)!.Title,
            Slug.Of(flag.Flag.Latest.Priority),
            FhirValues.Time(flag.Flag.Start, zone),
            flag.Flag.Latest.Says,
            flag.Seen is { } seen ? FhirValues.Time(seen, zone) : null
        );
    }
}

/// <summary>Something that is due.</summary>
internal sealed record DueReport(
    [property: Description("What, in words.")] string What,
    [property: Description("When.")] string At,
    [property: Description("Minutes until then; below 0 it is overdue.")] decimal InMinutes
);

/// <summary>The list for a person: one line for each bed.</summary>
internal static class WardInWords
{
    private static readonly LocalDateTimePattern DayAndClock = LocalDateTimePattern.CreateWithInvariantCulture("d MMM HH:mm");

    /// <summary>The lines.</summary>
    public static string Of(IReadOnlyList<BedOnWard> beds, IReadOnlyList<string> notJudged, string? location, Instant at)
    {
        var text = new StringBuilder();
        var zone = beds.Count > 0 ? beds[0].Episode.Definition.Frame.Zone : DateTimeZone.Utc;
        var (where, now) = (location is null ? "all wards" : location.Replace("|", ", ", StringComparison.Ordinal), at.InZone(zone));
        var irrigated = beds.Count == 1 ? "1 bed irrigated" : $"{beds.Count} beds irrigated";
        text.Append(
            CultureInfo.InvariantCulture,
            $"{where}, {DayAndClock.Format(now.LocalDateTime)}: {irrigated}, who needs a person first\n"
        );
        for (var i = 0; i < beds.Count; i++)
            text.Append(CultureInfo.InvariantCulture, $"{i + 1, 3}  {Line(beds[i])}\n");
        foreach (var id in notJudged)
            text.Append(CultureInfo.InvariantCulture, $"  !  episode {id} cannot be judged: look at the patient\n");
        return text.ToString();
    }

    /// <summary>Who, for a person.</summary>
    public static string Patient(BedOnWard bed)
    {
        var patient = bed.Episode.Definition.Patient;
        return patient.Display ?? patient.Identifier?.Value ?? patient.Reference ?? "not named";
    }

    private static string Line(BedOnWard bed)
    {
        var where = bed.Episode.Definition.Location?.Says ?? $"no bed on record, {bed.Episode.Definition.Identifier.Value}";
        List<string> parts = [$"{where}, {Patient(bed)}, day {bed.Day}", .. Wrong(bed), Read(bed)];
        if (bed.Due is [var next, ..])
            parts.Add($"{next.What} {(next.At <= bed.At ? "since " : "")}{Said(bed, next.At)}");
        if (bed.Unseen > 0)
            parts.Add(bed.Unseen == 1 ? "1 flag not seen" : $"{bed.Unseen} flags not seen");
        return string.Join(" | ", parts);
    }

    private static IEnumerable<string> Wrong(BedOnWard bed)
    {
        if (bed.Flags is not [var first, ..])
            yield break;
        var flag = first.Flag;
        var says = flag.Latest.Says;
        var sentence = says.IndexOf(". ", StringComparison.Ordinal) is var end and > 0 ? says[..end] : says.TrimEnd('.');
        var title = FlagRules.Find(flag.Slug)!.Title;
        yield return $"{Slug.Of(flag.Latest.Priority)}: {title} since {Said(bed, flag.Start)}. {Words.Capital(sentence)}";
    }

    private static string Read(BedOnWard bed)
    {
        var ran = bed.InSince is { } volume ? $"{volume} in since" : $"how much ran in since is not known{Why(bed)}";
        if (bed.LastReading is not { } read)
            return $"drainage never read, {ran}";
        var minutes = (long)(bed.At - read).TotalMinutes;
        var ago = minutes < 120 ? $"{minutes} min ago" : FormattableString.Invariant($"{minutes / 60} h {minutes % 60} min ago");
        return $"read {ago}, {ran}";
    }

    /// <summary>Why it is not: no flow charted, and for how long.</summary>
    private static string Why(BedOnWard bed)
    {
        var since = bed.LastReading ?? bed.Episode.Definition.Frame.Start;
        return AbsentFlow.Says(AbsentFlow.Between(bed.Episode.Balance, since, bed.At), at => Said(bed, at)) is { } says ? $", {says}" : "";
    }

    private static string Said(BedOnWard bed, Instant at) => bed.Episode.Definition.Frame.Said(at, bed.At);
}
