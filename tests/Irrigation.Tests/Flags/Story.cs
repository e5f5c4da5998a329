using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using NodaTime;
using NodaTime.Text;

namespace Irrigation.Tests.Flags;

/// <summary>What the flags of a ward story are told by: who lies there, and when each flag was raised and cleared.</summary>
internal static class Story
{
    private static readonly LocalTimePattern Clock = LocalTimePattern.CreateWithInvariantCulture("HH:mm");

    /// <summary>An adult of 75 years about whom everything else is unknown.</summary>
    public static PatientFacts Adult { get; } = Aged(new(1950, 5, 1));

    /// <summary>A child who turned 8 in January.</summary>
    public static PatientFacts Child { get; } = Aged(new(2018, 1, 10));

    /// <summary>Nobody knows how old.</summary>
    public static PatientFacts OfUnknownAge { get; } = Aged(null);

    /// <summary>A patient with a date of birth, or without one.</summary>
    public static PatientFacts Aged(LocalDate? born) =>
        new(new Patient(born, DateTimeZone.Utc), null, null, null, new(null, null, null), HasEncounter: true, DuringProcedure: false);

    /// <summary>The flags as they stand at a clock time.</summary>
    public static FlagRecord Flags(
        this Ward ward,
        string asOf,
        PatientFacts? facts = null,
        FlagLimits? limits = null,
        MeasuringCharacters? characters = null
    ) => Read(FlagRecord.Of(ward.Balance(characters), facts ?? Adult, limits ?? FlagLimits.Default, ward.At(asOf)));

    /// <summary>The same, once somebody has read every sentence of it: each story is told in plain words.</summary>
    public static FlagRecord Read(this FlagRecord record)
    {
        Assert.All(Sentences(record), says => Assert.Empty(PlainWords.Faults(says)));
        return record;
    }

    /// <summary>Everything that a record says.</summary>
    public static IEnumerable<string> Sentences(this FlagRecord record)
    {
        foreach (var flag in record.Ended.Concat(record.Standing))
            yield return flag.Latest.Says;
        foreach (var ended in record.Ended)
            yield return ended.Ended!;
        foreach (var undecided in record.Findings.Select(found => found.Latest).OfType<Finding.Undecided>())
        {
            yield return undecided.Why;
            yield return undecided.Needs;
        }

        foreach (var forecast in record.Now.Foretold)
            yield return forecast.Assumption;
        foreach (var due in DueThing.Of(record.Now))
            yield return due.What;
        foreach (var trial in WeaningTrial.Of(record, record.Now.Log.Frame.Start))
            yield return trial.Says(record.Now);
        foreach (var doubt in record.Now.Balance.Streams.SelectMany(stream => record.Now.Balance[stream]).SelectMany(i => i.Doubts))
            yield return doubt.Says;
    }

    /// <summary>The same, measured without doubt or bias.</summary>
    public static FlagRecord Exactly(this Ward ward, string asOf, PatientFacts? facts = null, FlagLimits? limits = null) =>
        ward.Flags(asOf, facts, limits, Ward.Exact);

    /// <summary>When a flag stood, by the clock: <c>10:00-12:00, 13:30-</c>; empty where it never did.</summary>
    public static string Stood(this FlagRecord record, string slug) =>
        string.Join(
            ", ",
            record
                .Ended.Concat(record.Standing)
                .Where(f => f.Slug == slug)
                .OrderBy(f => f.Start)
                .Select(f => $"{Said(f.Start)}-{(f.End is { } end ? Said(end) : "")}")
        );

    /// <summary>The flag that stands.</summary>
    public static FlagPeriod Standing(this FlagRecord record, string slug) => record.Standing.Single(f => f.Slug == slug);

    /// <summary>What a rule said last.</summary>
    public static Finding Said(this FlagRecord record, string slug) => record.Findings.Single(f => f.Rule.Slug == slug).Latest!;

    /// <summary>The text of the flag that stands.</summary>
    public static string Says(this FlagRecord record, string slug) => record.Standing(slug).Latest.Says;

    /// <summary>How soon somebody should look; null where the flag does not stand.</summary>
    public static FlagPriority? Priority(this FlagRecord record, string slug) =>
        record.Standing.SingleOrDefault(f => f.Slug == slug)?.Latest.Priority;

    /// <summary>Why a rule cannot tell, and what it needs.</summary>
    public static (string Why, string Needs) Undecided(this FlagRecord record, string slug) =>
        record.Said(slug) is Finding.Undecided u ? (u.Why, u.Needs) : throw new Xunit.Sdk.XunitException($"{slug}: {record.Said(slug)}");

    /// <summary>Balance and flags of entries that arrive in any order and in batches, while somebody asks now and then.</summary>
    /// <param name="entries">All of them.</param>
    /// <param name="seed">Of the order, the batches and the moments of asking.</param>
    /// <param name="frame">The episode.</param>
    /// <param name="end">Nobody asks for a later moment.</param>
    /// <param name="facts">Who lies there.</param>
    /// <param name="limits">The settings.</param>
    public static (FluidBalance Balance, FlagRecord Record) Arriving(
        Entry[] entries,
        int seed,
        EpisodeFrame frame,
        Instant end,
        PatientFacts facts,
        FlagLimits limits
    )
    {
        var chance = new Random(seed);
        var balance = FluidBalance.Of(EpisodeLog.Empty(frame), BalanceSettings.Default);
        var asOf = frame.Start;
        var record = FlagRecord.Of(balance, facts, limits, asOf);
        var arriving = entries.ToArray();
        chance.Shuffle(arriving);
        for (var i = 0; i < arriving.Length; )
        {
            var batch = arriving.Skip(i).Take(chance.Next(1, 6)).ToArray();
            var appended = balance.Log.Append(batch, frame.Start);
            balance = balance.After(appended).Balance;
            asOf = Instant.Min(end, asOf + Duration.FromMinutes(chance.Next(0, 120)));
            record = record.After(balance, appended.Changes, asOf).Record;
            i += batch.Length;
        }

        return (balance, record);
    }

    /// <summary>The record after an entry that arrived later, and what became of the flags.</summary>
    public static (FlagRecord Record, ImmutableArray<FlagChange> Changes) Later(
        this Ward ward,
        FlagRecord before,
        Func<Ward, Entry> late,
        MeasuringCharacters? characters = null
    )
    {
        var balance = ward.Balance(characters);
        var appended = balance.Log.Append([late(ward)], before.AsOf);
        return before.After(balance.After(appended).Balance, appended.Changes, before.AsOf);
    }

    public static Ward Looks(
        this Ward ward,
        string clock,
        int? grade = null,
        string? colour = null,
        string? clots = null,
        string? scale = "five grades"
    ) => ward.Chart(new DrainageAppearance(ward.Header(clock), grade is null ? null : scale, grade, colour, null, clots, null, null, null));

    public static Ward Ordered(this Ward ward, string clock, Func<OrderSet, OrderSet> says) =>
        ward.Chart(says(new OrderSet(ward.Header(clock))));

    public static Ward Calls(this Ward ward, string clock) => ward.Chart(new Escalated(ward.Header(clock), "the doctor on call", null));

    public static Ward Bears(this Ward ward, string clock, int? pain = 0, bool? spasm = false) =>
        ward.Chart(new ToleranceNoted(ward.Header(clock), pain, spasm, true));

    public static Ward Feels(this Ward ward, string clock, bool? distended, bool? tender = false) =>
        ward.Chart(new BladderPalpated(ward.Header(clock), distended, tender));

    public static Ward Washout(this Ward ward, string clock, bool? cleared) =>
        ward.Chart(new WashoutPerformed(ward.Header(clock), 3, cleared));

    public static Ward Checks(this Ward ward, string clock, string identifiers = "date-of-birth name") =>
        ward.Chart(new IdentityChecked(ward.Header(clock), identifiers));

    /// <summary>A bag with words on it.</summary>
    public static Ward Hangs(this Ward ward, string clock, decimal ml, string? solution, string line = "1") =>
        ward.Chart(new BagHung(ward.Header(clock), line, Volume.FromMillilitres(ml), null, null, solution, Volume.Zero));

    private static string Said(Instant instant) =>
        Clock.Format(instant.InUtc().TimeOfDay)
        + (instant.InUtc().Second > 0 ? FormattableString.Invariant($":{instant.InUtc().Second:00}") : "");
}
