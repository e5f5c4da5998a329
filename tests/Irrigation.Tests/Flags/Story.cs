using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Flags;
using NodaTime;
using NodaTime.Text;

namespace Irrigation.Tests.Flags;

/// <summary>What the flags of a ward story are told by: who lies there, and when each flag was raised and cleared.</summary>
internal static class Story
{
    private static readonly LocalTimePattern Clock = LocalTimePattern.CreateWithInvariantCulture("HH:mm");

    /// <summary>An adult of 75 years about whom everything else is unknown.</summary>
    public static PatientFacts Adult { get; } = Aged(new(1950, 5, 1));

    /// <summary>A patient with a date of birth, or without one.</summary>
    public static PatientFacts Aged(LocalDate? born) => new(new Patient(born, DateTimeZone.Utc), null, null, null, new(null, null, null), HasEncounter: true, DuringProcedure: false);

    /// <summary>The flags as they stand at a clock time.</summary>
    public static FlagRecord Flags(this Ward ward, string asOf, PatientFacts? facts = null, FlagLimits? limits = null, MeasuringCharacters? characters = null) =>
        FlagRecord.Of(ward.Balance(characters), facts ?? Adult, limits ?? FlagLimits.Default, ward.At(asOf));

    /// <summary>When a flag stood, by the clock: <c>10:00-12:00, 13:30-</c>; empty where it never did.</summary>
    public static string Stood(this FlagRecord record, string slug) => string.Join(", ",
        record.Ended.Concat(record.Standing).Where(f => f.Slug == slug).OrderBy(f => f.Start).Select(f => $"{Said(f.Start)}-{(f.End is { } end ? Said(end) : "")}"));

    /// <summary>The flag that stands.</summary>
    public static FlagPeriod Standing(this FlagRecord record, string slug) => record.Standing.Single(f => f.Slug == slug);

    /// <summary>What a rule said last.</summary>
    public static Finding Said(this FlagRecord record, string slug) => record.Findings.Single(f => f.Rule.Slug == slug).Latest!;

    private static string Said(Instant instant) => Clock.Format(instant.InUtc().TimeOfDay) + (instant.InUtc().Second > 0 ? FormattableString.Invariant($":{instant.InUtc().Second:00}") : "");
}
