using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using Irrigation.Tests.Flags;
using NodaTime;

namespace Irrigation.Tests.VirtualWard;

/// <summary>What goes wrong at a bed, from a moment on.</summary>
public enum Fault
{
    /// <summary>Nothing.</summary>
    None,

    /// <summary>The catheter is blocked at once: nothing comes out.</summary>
    Sudden,

    /// <summary>Three tenths of what should come out do.</summary>
    Partial,

    /// <summary>It is blocked little by little, over three hours.</summary>
    Slow,

    /// <summary>A third by-passes the catheter, and nobody charts it.</summary>
    Leak,

    /// <summary>A bag of 2 L is hung and charted as one of 3 L.</summary>
    WrongBag,
}

/// <summary>How a bed is charted.</summary>
/// <param name="Every">Minutes between two readings of the drainage.</param>
/// <param name="Missed">Which part of the readings is left out.</param>
/// <param name="Weighed">The drainage is weighed and not read off marks.</param>
public sealed record Rounds(int Every, double Missed, bool Weighed);

/// <summary>
/// A bed under continuous irrigation whose truth is known minute by minute: what ran in, what the kidneys made, what the bladder
/// holds. What is charted of it is wrong by the default characters of the measuring ways (rectangular), the systematic parts once for
/// the episode: bag type, container, and how far the flow is from the one that was charted.
/// </summary>
/// <remarks>Nobody answers a flag, so what is retained only grows; the flags are asked for as the ward would have seen them then.</remarks>
internal sealed class FaultyBed
{
    private static readonly MeasuringCharacters Characters = MeasuringCharacters.Default;
    private readonly List<Entry> entries = [];
    private readonly double[] retained;
    private readonly Random chance;

    public FaultyBed(Fault fault, double flow, Rounds rounds, int hours, Random chance, FlagLimits? limits = null)
    {
        this.chance = chance;
        (Fault, Flow, Rounds, Hours) = (fault, flow, rounds, hours);
        Onset = fault == Fault.None ? int.MaxValue : chance.Next(180, 300);
        retained = new double[(hours * 60) + 1];
        Run();
        Balance = FluidBalance.Of(
            EpisodeLog.Empty(new(VirtualBed.Start, null, DateTimeZone.Utc, [])).Append(entries, VirtualBed.Start).Log,
            BalanceSettings.Default
        );
        Raised = [.. Flags(limits ?? FlagLimits.Default)];
    }

    public Fault Fault { get; }

    public double Flow { get; }

    public Rounds Rounds { get; }

    public int Hours { get; }

    /// <summary>The minute at which it goes wrong.</summary>
    public int Onset { get; }

    public FluidBalance Balance { get; }

    /// <summary>Each flag at each priority that it came to: the minute at which it first did.</summary>
    public IReadOnlyList<(string Slug, FlagPriority Priority, int Minute, string Says)> Raised { get; }

    /// <summary>The minutes at which the drainage was read.</summary>
    public List<int> Read { get; } = [];

    public double Retained(int minute) => retained[Math.Min(minute, retained.Length - 1)];

    private void Run()
    {
        var urine = Within(0, 1.5) * Within(50, 100) / 60;
        var overfill = (double)Characters.BagLabel.Correction + Either(Characters.BagLabel.Systematic);
        var scale = Either(Characters.DrainageGraduation.Systematic);
        var density = 1.006 + Either(Characters.DefaultDensityHalfWidth);
        var real = Flow / 60 * (1 + Either(Characters.ChartedFlow.Systematic));
        var (bag, gone, drift) = (0.0, 0.0, 0.0);
        var wrong = false;
        var (level, bladder) = (0.0, 0.0);
        var levels = new double[retained.Length];
        var emptied = new double[retained.Length];

        void Hang(int minute)
        {
            var label = Fault == Fault.WrongBag && minute >= Onset && !wrong ? 2000 : 3000;
            wrong |= label == 2000;
            entries.Add(
                new BagHung(Header(minute), "1", Volume.FromMillilitres(3000), null, "this type", "sodium chloride 0.9 %", Volume.Zero)
            );
            bag = (label * (1 + overfill)) - (double)Characters.EmptyBagResidue.Mean - Either(Characters.EmptyBagResidue.HalfWidth);
            (gone, drift) = (0, Either(Characters.ChartedFlowDrift));
        }

        Hang(0);
        entries.Add(new FlowSet(Header(0), "1", FlowRate.FromMillilitresPerHour((decimal)Flow), null, null));
        entries.Add(new DrainageLevelRead(Header(0), "1", Volume.Zero));
        for (var minute = 1; minute < retained.Length; minute++)
        {
            var into = Math.Min(real * (1 + (drift * (1 - (2 * gone / bag)))), bag - gone);
            gone += into;
            var made = into + urine;
            var passes =
                minute <= Onset
                    ? 1
                    : Fault switch
                    {
                        Fault.Sudden => 0,
                        Fault.Partial => 0.3,
                        Fault.Slow => Math.Max(0, 1 - ((minute - Onset) / 180.0)),
                        _ => 1.0,
                    };
            bladder += made * (1 - passes);
            level += made * passes * (minute > Onset && Fault == Fault.Leak ? 0.67 : 1);
            (retained[minute], levels[minute]) = (bladder, level);
            if (bag - gone < 0.01)
            {
                entries.Add(new BagTakenDown(Header(minute), "1", Volume.Zero));
                Hang(minute);
            }
        }

        // Read round the charted minute, and emptied where it is two thirds full.
        var off = 0.0;
        for (var minute = Rounds.Every; minute < retained.Length; minute += Rounds.Every)
        {
            if (chance.NextDouble() < Rounds.Missed)
                continue;
            var taken = Math.Clamp(
                minute + (int)Math.Round(Within(-1, 1) * Math.Sqrt(3) * (double)Characters.ReadingTime),
                minute - (Rounds.Every / 2),
                levels.Length - 1
            );
            var content = levels[taken] - off;
            var empties = content > 2600;
            var seen = (content - Either(Characters.DrainageGraduation.Random)) / (1 + scale);
            entries.Add(
                Rounds.Weighed
                    ? new DrainageWeighed(
                        Header(minute, MeasuringWay.Weighed),
                        "1",
                        Mass.FromGrams(Math.Max(0, Math.Round((decimal)((content * density) - Either(Characters.Scale.Random))))),
                        Mass.FromGrams(0),
                        null,
                        empties
                    )
                : empties ? new DrainageEmptied(Header(minute), "1", Ml(seen))
                : new DrainageLevelRead(Header(minute), "1", Ml(seen))
            );
            Read.Add(minute);
            if (empties)
                off = levels[taken];
        }
    }

    private IEnumerable<(string Slug, FlagPriority Priority, int Minute, string Says)> Flags(FlagLimits limits)
    {
        var record = FlagRecord.Of(Balance, Story.Adult, limits, VirtualBed.Start);
        var end = VirtualBed.Start + Duration.FromHours(Hours);
        var before = new HashSet<(string, Instant, FlagPriority)>();
        while (true)
        {
            foreach (var flag in record.Standing)
            {
                if (before.Add((flag.Slug, flag.Start, flag.Latest.Priority)))
                    yield return (flag.Slug, flag.Latest.Priority, (int)(record.AsOf - VirtualBed.Start).TotalMinutes, flag.Latest.Says);
            }

            if (record.Next is not { } next || next > end)
                yield break;
            record = record.After(Balance, [], next).Record;
        }
    }

    private double Within(double low, double high) => low + (chance.NextDouble() * (high - low));

    private double Either(decimal halfWidth) => Within(-1, 1) * (double)halfWidth;

    /// <summary>To the whole mL, and no scale shows less than nothing.</summary>
    private static Volume Ml(double millilitres) => Volume.FromMillilitres(Math.Max(0, Math.Round((decimal)millilitres)));

    private EntryHeader Header(int minute, MeasuringWay? how = null) =>
        new(new("virtual", $"{entries.Count + 1}"), VirtualBed.Start + Duration.FromMinutes(minute)) { How = how };
}
