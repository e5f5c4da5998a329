using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;
using NodaTime.Text;

namespace Irrigation.Tests;

/// <summary>
/// A bedside to tell ward stories with: clock times on one invented evening, millilitres, and the balance that comes out.
/// </summary>
internal sealed class Ward
{
    public static readonly LocalDate Evening = new(2026, 3, 14);
    private readonly List<Entry> entries = [];
    private readonly DateTimeZone zone;
    private readonly Instant start;
    private Instant? end;

    private Ward(DateTimeZone zone, string start)
    {
        this.zone = zone;
        this.start = At(start);
    }

    /// <summary>Measures without doubt or bias, to try a threshold at its very edge.</summary>
    public static MeasuringCharacters Exact { get; } =
        new()
        {
            BagLabel = Nothing,
            EmptyBagResidue = new(0, 0),
            UnchartedPrime = new(0, 0),
            BagGraduation = Nothing,
            Pump = Nothing,
            Syringe = Nothing,
            ChartedFlow = Nothing,
            Drops = Nothing,
            DrainageGraduation = Nothing,
            UrineMeter = Nothing,
            Jug = Nothing,
            ReturnSyringe = Nothing,
            Basin = Nothing,
            ReturnJug = Nothing,
            SmallScale = Nothing,
            Scale = Nothing,
            ChartedDensityHalfWidth = 0,
            DefaultDensityHalfWidth = 0,
            FirstMark = 0,
            Scan = Nothing,
            Eye = Nothing,
            UnchartedFlowDrift = 0,
            ChartedFlowDrift = 0,
            ReadingTime = 0,
            UrineDrift = 0,
        };

    /// <summary>How often a property is tried; the mutation tests, which try them for every mutant, set fewer.</summary>
    public static int Times(int usual) =>
        int.TryParse(Environment.GetEnvironmentVariable("PROPERTY_TIMES"), out var fewer) ? Math.Min(usual, fewer) : usual;

    public IReadOnlyList<Entry> Entries => entries;

    public EpisodeFrame Frame => new(start, end, zone, [new(7, 0), new(15, 0), new(23, 0)]);

    private static MeasuringCharacter Nothing => new(0, 0, 0, 0, "no doubt, for tests of edges");

    public static Ward Opens(string start, DateTimeZone? zone = null) => new(zone ?? DateTimeZone.Utc, start);

    /// <summary>The same ward, its episode ended.</summary>
    public Ward Ends(string clock)
    {
        end = At(clock);
        return this;
    }

    public static Volume Ml(decimal millilitres) => Volume.FromMillilitres(millilitres);

    /// <summary>"13:45" is on the evening's date; "+1 02:00" on the next.</summary>
    public Instant At(string clock)
    {
        var days = clock.StartsWith('+') ? int.Parse(clock[1..2], System.Globalization.CultureInfo.InvariantCulture) : 0;
        var time = LocalTimePattern.CreateWithInvariantCulture("HH:mm").Parse(days > 0 ? clock[3..] : clock).Value;
        return zone.AtLeniently(Evening.PlusDays(days) + time).ToInstant();
    }

    public EntryHeader Header(string clock, MeasuringWay? how = null, string? from = null, string? recordedAt = null, string? id = null) =>
        new(new("ward", id ?? $"e{entries.Count + 1}"), At(clock))
        {
            How = how,
            From = from is null ? null : At(from),
            RecordedAt = recordedAt is null ? null : At(recordedAt),
        };

    public Ward Chart(Entry entry)
    {
        entries.Add(entry);
        return this;
    }

    public Ward BagHung(string clock, decimal ml, decimal? prime = 0, string line = "1") =>
        Chart(new BagHung(Header(clock), line, Ml(ml), null, null, null, prime is { } p ? Ml(p) : null));

    public Ward BagRead(string clock, decimal left, string line = "1") => Chart(new BagRead(Header(clock), line, Ml(left)));

    public Ward BagTakenDown(string clock, decimal? left, string line = "1") =>
        Chart(new BagTakenDown(Header(clock), line, left is { } l ? Ml(l) : null));

    public Ward Flow(string clock, decimal mlPerHour, string line = "1") =>
        Chart(new FlowSet(Header(clock), line, FlowRate.FromMillilitresPerHour(mlPerHour), null, null));

    public Ward Instilled(string clock, decimal ml, string? from = null, string? recordedAt = null, string line = "1", string? id = null) =>
        Chart(new IrrigantInstilled(Header(clock, from: from, recordedAt: recordedAt, id: id), line, Ml(ml)));

    public Ward Syringe(string clock, decimal ml, string line = "1") =>
        Chart(new IrrigantInstilled(Header(clock, MeasuringWay.Syringe), line, Ml(ml)));

    /// <summary>A return that ran into a vessel which was then emptied.</summary>
    public Ward Back(string clock, decimal ml, Vessel vessel = Vessel.Basin, string? run = null, int? cycle = null) =>
        Chart(new DrainageEmptied(Header(clock) with { Run = run, Cycle = cycle }, Slug.Of(vessel), Ml(ml)) { Vessel = vessel });

    public Ward PumpTotal(string clock, decimal ml, bool restarted = false, string line = "1") =>
        Chart(new PumpTotalRead(Header(clock, MeasuringWay.Pump), line, Ml(ml), restarted));

    public Ward Discarded(string clock, decimal ml, string line = "1") => Chart(new IrrigantDiscarded(Header(clock), line, Ml(ml)));

    public Ward Emptied(string clock, decimal ml, string? recordedAt = null, string? id = null, string container = "1") =>
        Chart(new DrainageEmptied(Header(clock, recordedAt: recordedAt, id: id), container, Ml(ml)));

    public Ward Level(string clock, decimal ml, string? from = null, string container = "1") =>
        Chart(new DrainageLevelRead(Header(clock, from: from), container, Ml(ml)));

    public Ward Weighed(string clock, decimal grams, decimal? tare = null, decimal? density = null, bool emptied = true) =>
        Chart(
            new DrainageWeighed(
                Header(clock, MeasuringWay.Weighed),
                "1",
                Mass.FromGrams(grams),
                tare is { } t ? Mass.FromGrams(t) : null,
                density,
                emptied
            )
        );

    public Ward Urine(string clock, decimal ml, UrineRoute route = UrineRoute.UrethralCatheter, string? recordedAt = null) =>
        Chart(new UrineCollected(Header(clock, recordedAt: recordedAt), route, Ml(ml)));

    /// <summary>An amount of urine at the end of each of so many hours from a clock time.</summary>
    public Ward UrineHourly(string from, params decimal[] amounts)
    {
        foreach (var (hour, ml) in amounts.Index())
        {
            Chart(
                new UrineCollected(Header(from) with { At = At(from) + Duration.FromHours(hour + 1) }, UrineRoute.UrethralCatheter, Ml(ml))
            );
        }

        return this;
    }

    public Ward Weighs(string clock, decimal kilograms, WeightKind kind = WeightKind.Actual) =>
        Chart(new WeightMeasured(Header(clock), new(kilograms, kind)));

    public Ward Leak(string clock, decimal ml) => Chart(new LeakEstimated(Header(clock), Ml(ml)));

    public Ward Scan(string clock, decimal ml) => Chart(new BladderScanned(Header(clock), Ml(ml)));

    public Ward Clamp(string clock) => Chart(new DrainClamped(Header(clock)));

    public Ward Release(string clock) => Chart(new DrainReleased(Header(clock)));

    public Ward Withdraw(string id, string clock) =>
        Chart(new EnteredInError(new(new("ward", id), At(clock)) { RecordedAt = At(clock) }, "charted on the wrong patient"));

    public FluidBalance Balance(MeasuringCharacters? characters = null) =>
        FluidBalance.Of(
            EpisodeLog.Empty(Frame).Append(entries, start).Log,
            BalanceSettings.Default with
            {
                Characters = characters ?? MeasuringCharacters.Default,
            }
        );

    public System.Collections.Immutable.ImmutableArray<Forecast> Forecast(string clock) =>
        Forecasts.Of(Balance(), null, null, At(clock), ForecastSettings.Default);

    /// <summary>A window from one clock time to another.</summary>
    public OutputWindow Window(string from, string to, MeasuringCharacters? characters = null) =>
        Balance(characters).Over(WindowKind.Trailing, new(At(from), At(to)));

    public OutputWindow Hour(string clock) => Balance().Over(WindowKind.ClockHour, new(At(clock), At(clock) + Duration.FromHours(1)));

    public ClosedInterval Interval(string endsAt) => Balance()[FluidBalance.Bladder].Single(i => i.End == At(endsAt));
}
