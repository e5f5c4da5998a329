using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Tests.VirtualWard;

/// <summary>How a simulated bed measures what runs in and out.</summary>
public enum Chart
{
    /// <summary>Labelled bags, and the drainage bag emptied by its marks at every change of bag.</summary>
    PairedByMarks,

    /// <summary>The same, emptied whenever somebody comes by: in the middle of bags.</summary>
    MidBagByMarks,

    /// <summary>The same with the flow charted.</summary>
    MidBagWithFlow,

    /// <summary>Labelled bags, and the drainage weighed at every change of bag.</summary>
    PairedAndWeighed,

    /// <summary>Labelled bags whose rest is read off their marks at every emptying.</summary>
    BagReadByMarks,

    /// <summary>A pump with a counter, and the drainage bag emptied by its marks.</summary>
    PumpByMarks,

    /// <summary>No irrigation: urine out of a meter, hourly.</summary>
    UrineMeter,
}

/// <summary>
/// One simulated episode whose true urine is known. All that is wrong with its chart is drawn from the default characters of the
/// measuring ways (rectangular), the systematic parts once for the episode: its own bag type, container, pump, density of drainage.
/// </summary>
/// <remarks>A reading r of a true volume V satisfies V = r · (1 + bias + systematic) + own, and is charted to the whole mL.</remarks>
internal sealed class VirtualBed
{
    private static readonly MeasuringCharacters Characters = MeasuringCharacters.Default;
    private readonly List<Entry> entries = [];
    private readonly List<(double Start, double End, double Volume, double Drift)> bags = [];
    private readonly Random chance;
    private readonly double urinePerHour,
        urineDrift,
        overfill,
        scale,
        pump,
        density;

    /// <summary>Draws an episode.</summary>
    public VirtualBed(Chart chart, Random chance)
    {
        (Chart, this.chance) = (chart, chance);
        Kilograms = Math.Round(Within(50, 100));
        urinePerHour = Kilograms * Within(0, 1.5);
        urineDrift = Within(-0.25, 0.25);
        overfill = (double)Characters.BagLabel.Correction + Either(Characters.BagLabel.Systematic);
        scale = Either(Characters.DrainageGraduation.Systematic);
        pump = Either(Characters.Pump.Systematic);
        density = 1.006 + Either(Characters.DefaultDensityHalfWidth);
        if (chart == Chart.UrineMeter)
            Meter();
        else if (chart == Chart.PumpByMarks)
            Pumped();
        else
            Bags();
        Balance = FluidBalance.Of(
            EpisodeLog
                .Empty(new(Start, null, DateTimeZone.Utc, []))
                .Append([new WeightMeasured(Header(0), new((decimal)Kilograms, WeightKind.Actual)), .. entries], Start)
                .Log,
            BalanceSettings.Default
        );
    }

    public static Instant Start { get; } = Instant.FromUtc(2026, 3, 14, 7, 0);

    public Chart Chart { get; }

    public double Kilograms { get; }

    /// <summary>How long it lasted.</summary>
    public double Hours { get; private set; }

    /// <summary>What the product made of the chart.</summary>
    public FluidBalance Balance { get; }

    /// <summary>The urine that the kidneys really made between two instants.</summary>
    public double TrueUrine(Instant from, Instant to) => Urine((to - Start).TotalHours) - Urine((from - Start).TotalHours);

    private double Urine(double at) => urinePerHour * (at + (urineDrift * at * (1 - (at / 24))));

    /// <summary>
    /// Irrigant delivered by a time: within a bag the flow falls or rises, so that it is off by drift · p · (1 − p) at the fraction p.
    /// </summary>
    private double Irrigant(double at) =>
        bags.Sum(bag =>
        {
            var p = Math.Clamp((at - bag.Start) / (bag.End - bag.Start), 0, 1);
            return bag.Volume * (p + (bag.Drift * p * (1 - p)));
        });

    private void Bags()
    {
        var flow = 100 * Math.Pow(15, chance.NextDouble()); // 100 to 1500 mL/h, as many slow ones as fast ones
        var label = flow < 250 ? 1000 : 3000;
        var drift = Chart == Chart.MidBagWithFlow ? Characters.ChartedFlowDrift : Characters.UnchartedFlowDrift;
        for (; Hours < 12; Hours = bags[^1].End)
        {
            var residue = (double)Characters.EmptyBagResidue.Mean + Either(Characters.EmptyBagResidue.HalfWidth);
            var delivered = (label * (1 + overfill)) - residue;
            entries.Add(new BagHung(Header(Hours), "1", Ml(label), null, "this type", null, Volume.Zero));
            if (Chart == Chart.MidBagWithFlow)
                entries.Add(new FlowSet(Header(Hours), "1", FlowRate.FromMillilitresPerHour((decimal)flow), null, null));
            bags.Add((Hours, Minute(Hours + (delivered / flow)), delivered, Either(drift)));
            entries.Add(new BagTakenDown(Header(bags[^1].End), "1", Volume.Zero));
        }

        var emptied = (Charted: 0.0, True: 0.0);
        foreach (var charted in Emptyings())
        {
            // A reading between two readings of the irrigant is taken a little before or after the time charted.
            var atChange = bags.Any(bag => bag.End == charted);
            var taken =
                atChange || Chart == Chart.BagReadByMarks
                    ? charted
                    : charted + (Within(-1, 1) * Math.Sqrt(3) * (double)Characters.ReadingTime / 60);
            var content = Urine(taken) + Irrigant(taken) - Urine(emptied.True) - Irrigant(emptied.True);
            if (Chart == Chart.BagReadByMarks && !atChange)
            {
                var bag = bags.Single(b => b.Start < charted && charted < b.End);
                var left = (label * (1 + overfill)) - (Irrigant(charted) - Irrigant(bag.Start));
                entries.Add(new BagRead(Header(charted), "1", Ml(left - Either(Characters.BagGraduation.Random))));
            }

            entries.Add(
                Chart == Chart.PairedAndWeighed
                    ? new DrainageWeighed(
                        Header(charted, MeasuringWay.Weighed),
                        "1",
                        Mass.FromGrams(Math.Round((decimal)((content * density) - Either(Characters.Scale.Random)))),
                        Mass.FromGrams(0),
                        null,
                        true
                    )
                    : new DrainageEmptied(Header(charted), "1", ByMarks(content))
            );
            emptied = (charted, taken);
        }
    }

    private IEnumerable<double> Emptyings()
    {
        if (Chart is Chart.PairedByMarks or Chart.PairedAndWeighed)
            return bags.Select(bag => bag.End);
        var times = new List<double>();
        for (var at = Minute(Within(1, 3)); at < Hours - 0.5; at = Minute(at + Within(1, 3)))
            times.Add(at);
        return times.Append(Hours);
    }

    private void Pumped()
    {
        var flow = 100 * Math.Pow(15, chance.NextDouble());
        Hours = 12;
        bags.Add((0, Hours, flow * Hours, 0));
        entries.Add(new PumpTotalRead(Header(0, MeasuringWay.Pump), "1", Volume.Zero, false));
        for (var at = 0.0; at < Hours; at += 2)
        {
            entries.Add(new PumpTotalRead(Header(at + 2, MeasuringWay.Pump), "1", Ml(Irrigant(at + 2) / (1 + pump)), false));
            entries.Add(new DrainageEmptied(Header(at + 2), "1", ByMarks(Urine(at + 2) + Irrigant(at + 2) - Urine(at) - Irrigant(at))));
        }
    }

    private void Meter()
    {
        var gain = 1 + (double)Characters.UrineMeter.Correction + Either(Characters.UrineMeter.Systematic);
        for (; Hours < 12; Hours++)
        {
            entries.Add(
                new UrineCollected(
                    Header(Hours + 1),
                    UrineRoute.UrethralCatheter,
                    Ml(Math.Max(0, Urine(Hours + 1) - Urine(Hours) - Either(Characters.UrineMeter.Random)) / gain)
                )
            );
        }
    }

    private Volume ByMarks(double content) => Ml((content - Either(Characters.DrainageGraduation.Random)) / (1 + scale));

    private double Within(double low, double high) => low + (chance.NextDouble() * (high - low));

    private double Either(decimal halfWidth) => Within(-1, 1) * (double)halfWidth;

    private static double Minute(double hours) => Math.Round(hours * 60) / 60;

    /// <summary>To the whole mL, and no scale shows less than nothing.</summary>
    private static Volume Ml(double millilitres) => Volume.FromMillilitres(Math.Max(0, Math.Round((decimal)millilitres)));

    private EntryHeader Header(double hours, MeasuringWay? how = null) =>
        new(new("virtual", $"{entries.Count + 1}"), Start + Duration.FromMinutes(Math.Round(hours * 60))) { How = how };
}
