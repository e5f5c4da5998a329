using System.Collections.Immutable;
using System.Reflection;
using CsCheck;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Tests.Flags;

/// <summary>Whatever was charted, of whomever, under whatever settings: a rule answers, and never throws.</summary>
public class NoRuleThrowsTests
{
    private const int Kinds = 38;
    private const decimal Tiny = 0.000_000_000_000_000_000_000_000_000_1m;
    private static readonly Instant Start = Instant.FromUtc(2026, 3, 14, 7, 0);
    private static readonly Instant End = Start + Duration.FromHours(30);
    private static readonly EpisodeFrame Frame = new(Start, null, DateTimeZone.Utc, [new(7, 0), new(19, 0)]);

    /// <summary>0, next to nothing, what is usual, and the most that is accepted (1000 L).</summary>
    private static readonly decimal[] Amounts = [0, Tiny, 0.1m, 1, 12, 30, 60, 100, 360, 650, 3000, 8500, 1_000_000];

    private static readonly Volume?[] Capacities = [null, .. Amounts.Select(ml => (Volume?)Volume.FromMillilitres(ml))];
    private static readonly LocalDate?[] Births =
    [
        null,
        new(2030, 1, 1),
        new(2026, 3, 10),
        new(2025, 9, 1),
        new(2023, 2, 1),
        new(2010, 5, 1),
        new(1950, 5, 1),
        new(1850, 1, 1),
    ];

    private static readonly string?[] Levels = [null, "T4", "L2", "", "T", "T99", "tetraplegia"];

    private static readonly Gen<Entry[]> Nights = Gen.Select(UpTo(40), UpTo(1000), UpTo(Amounts.Length), UpTo(30), UpTo(Kinds))
        .Select(Draw)
        .Array[0, 60];

    private static readonly Gen<PatientFacts> Anybody = Gen.Select(
            UpTo(Births.Length),
            UpTo(Capacities.Length),
            UpTo(Levels.Length),
            Gen.Int[-100, 10],
            Gen.Bool
        )
        .Select(Patient);

    /// <summary>What is judged by the output says one thing: never that it stands and that nobody can tell.</summary>
    private static readonly string[] ByUrine = ["low-hourly-output", "urine-output-criterion", "anuria", "oliguria", "polyuria"];

    public static TheoryData<string> Settings => ["as they are", "least", "most"];

    [Theory]
    [MemberData(nameof(Settings))]
    public void No_rule_throws(string settings)
    {
        var limits = LimitsAt(settings);
        var raised = 0;
        Gen.Select(Nights, Anybody)
            .Sample(
                (night, facts) =>
                {
                    var balance = FluidBalance.Of(EpisodeLog.Empty(Frame).Append(night, Start).Log, BalanceSettings.Default);
                    var record = FlagRecord.Of(balance, facts, limits, End);
                    Assert.All(record.Ended.Concat(record.Standing), flag => Assert.NotEmpty(flag.Latest.Says));
                    Assert.All(
                        ByUrine,
                        slug => Assert.False(record.Said(slug) is Finding.Undecided && record.Now.Standing(slug) is not null, slug)
                    );
                    // What is drawn pairs the longest names with the largest amounts; stories hold the 25 words of a sentence.
                    Assert.All(record.Sentences(), says => Assert.Empty(PlainWords.Faults(says, most: 30)));
                    Interlocked.Add(ref raised, record.Ended.Count + record.Standing.Count());
                },
                iter: Ward.Times(700)
            );
        Assert.True(raised >= Ward.Times(700), $"only {raised} flags were raised: the property says little");
    }

    [Fact]
    public void Every_kind_of_entry_is_drawn()
    {
        var drawn = Enumerable.Range(0, 2 * Kinds).Select(i => Draw(1, 1, 3, i % 2, i / 2).Kind);
        Assert.Equal(EntryKinds.All, drawn.Append("entered-in-error").Append("flag-revised").ToImmutableSortedSet());
    }

    private static Gen<int> UpTo(int count) => Gen.Int[0, count - 1];

    private static PatientFacts Patient(int born, int capacity, int level, int hours, bool procedure)
    {
        Instant? inserted = hours < -90 ? null : Start + Duration.FromHours(hours);
        var patient = new Patient(Births[born], DateTimeZone.Utc);
        return new(patient, Capacities[capacity], Levels[level], inserted, new(null, null, null), procedure, procedure)
        {
            BaselineSystolic = hours % 2 == 0 ? null : Pressure.FromMillimetresOfMercury(100),
        };
    }

    private static FlagLimits LimitsAt(string settings)
    {
        if (settings == "as they are")
            return FlagLimits.Default;
        var limits = new FlagLimits(new(), new(), new());
        foreach (var room in new object[] { limits.Flags, limits.Criteria, limits.Forecasts })
        {
            foreach (var property in room.GetType().GetProperties())
            {
                if (property.GetCustomAttribute<SettingAttribute>() is not { } range)
                    continue;
                property.SetValue(room, Valued(property.PropertyType, range, settings == "least"));
            }
        }

        return limits;
    }

    private static object Valued(Type type, SettingAttribute range, bool least)
    {
        var number = (decimal)(least ? range.Least : range.Most);
        return type switch
        {
            _ when type == typeof(Volume) => Volume.FromMillilitres(number),
            _ when type == typeof(FlowRate) => FlowRate.FromMillilitresPerHour(number),
            _ when type == typeof(Pressure) => Pressure.FromMillimetresOfMercury(number),
            _ when type == typeof(int) => (int)number,
            _ when type == typeof(bool) => number > 0,
            _ when type == typeof(Duration) && range.Unit == "d" => Duration.FromDays((double)number),
            _ when type == typeof(Duration) && range.Unit == "h" => Duration.FromHours((double)number),
            _ when type == typeof(Duration) => Duration.FromMinutes((double)number),
            _ => Convert.ChangeType(number, type, System.Globalization.CultureInfo.InvariantCulture),
        };
    }

    private static Entry Draw(int id, int step, int amount, int other, int kind)
    {
        var at = Start + Duration.FromMinutes(2 * step);
        var header = new EntryHeader(new("gen", $"{id}"), at) { RecordedAt = at + Duration.FromMinutes(other) };
        var rate = FlowRate.FromMillilitresPerHour(Amounts[amount]);
        var volume = Volume.FromMillilitres(Amounts[amount]);
        var grams = Mass.FromGrams(Amounts[amount]);
        var (line, container) = (other % 5 == 0 ? "2" : "1", other % 4 == 0 ? "2" : "1");
        return kind switch
        {
            0 => new BagHung(header, line, Volume.FromMillilitres(3000), null, null, other % 4 == 0 ? "glycine" : null, Volume.Zero),
            1 => new BagRead(header, line, volume),
            2 => new BagTakenDown(header, line, amount == 0 ? null : volume),
            3 => new IrrigantInstilled(header with { How = other % 2 == 0 ? MeasuringWay.Syringe : null }, line, volume),
            33 => new IrrigantInstilled(header with { Run = other % 3 == 0 ? "a" : null, Cycle = 1 + (other % 4) }, line, volume)
            {
                Intended = volume * 2,
                Resistance = other % 2 == 0,
                Additive = "neomycin",
                Expiry = new(2026, 3, 14),
            },
            34 => new DrainageEmptied(header with { Run = other % 2 == 0 ? "a" : null, Cycle = 1 + (other % 4) }, "basin", volume),
            35 => new IrrigationStopped(header, (StopReason)(other % 8)),
            36 => other % 2 == 0 ? new PatientAttended(header) : new StepsAttested(header, "port-cleaned", ""),
            4 => new IrrigantDiscarded(header, line, volume),
            5 or 6 => new FlowSet(header, line, rate, null, null),
            7 => new PumpTotalRead(header, line, volume, other == 0),
            8 or 9 => new DrainageEmptied(header with { How = other == 7 ? MeasuringWay.Estimate : null }, container, volume),
            10 or 11 => new DrainageLevelRead(header, container, volume),
            12 => new DrainageWeighed(header, container, grams, other % 3 == 0 ? null : Mass.FromGrams(100), null, other % 2 == 0),
            13 => new ContainerTakenAway(header, container, null),
            14 => new BloodRemoved(header, volume, null),
            15 => new ReadingConfirmed(header, new("gen", $"{other}")),
            16 => new LeakEstimated(header, volume),
            17 => new UrineCollected(header, (UrineRoute)(other % 10), volume),
            18 => new DrainClamped(header),
            19 => new DrainReleased(header),
            20 => new BladderScanned(header, volume),
            21 => new BladderPalpated(header, other % 3 == 0 ? null : other % 2 == 0, amount % 2 == 0),
            22 => new DrainageAppearance(header, "five", amount, "bright red", null, other % 2 == 0 ? "few" : null, null, null, null),
            23 => new ToleranceNoted(header, other % 11, false, null),
            24 => new OrderSet(header)
            {
                Method = "open",
                AtMost = rate,
                Dwell = Duration.FromMinutes(other),
                Amount = volume,
                Cycles = 1 + other,
                TimesPerDay = 1 + other,
                Days = 1 + (other % 3),
                Change = (OrderChange)(amount % 3),
                UntilClear = other % 2 == 0,
            },
            25 => new IdentityChecked(header, "date-of-birth name"),
            26 => new WeightMeasured(header, new(Math.Max(0.1m, Amounts[amount] / 10), WeightKind.Actual)),
            27 => new BloodPressureMeasured(header, Pressure.FromMillimetresOfMercury(10 * other), null),
            28 => new CatheterInserted(header, null, null, null),
            29 => new CatheterRemoved(header),
            30 => new ClosedSystemOpened(header, null),
            31 => new IndicationReviewed(header, null, null),
            32 => other % 2 == 0 ? new WashoutPerformed(header, 1, true) : new Escalated(header, null, null) { Flag = "no-drainage" },
            _ => new FlagAcknowledged(header, "no-drainage"),
        };
    }
}
