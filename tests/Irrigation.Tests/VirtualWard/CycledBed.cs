using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using Irrigation.Runs;
using Irrigation.Tests.Flags;
using NodaTime;

namespace Irrigation.Tests.VirtualWard;

/// <summary>What is wrong with a bed that is irrigated by the cycle.</summary>
internal enum CycleFault
{
    /// <summary>Nothing.</summary>
    None,

    /// <summary>A valve: irrigant goes in and next to nothing comes out, from some cycle on.</summary>
    OneWay,

    /// <summary>A clot in the eye: 30 to 60 % comes back, from some cycle on.</summary>
    Clot,

    /// <summary>30 to 60 % leaks beside the catheter from some cycle on, and nobody charts it.</summary>
    Leak,

    /// <summary>The same, and somebody judges it by eye.</summary>
    ChartedLeak,

    /// <summary>One return misread: a tenth of what it was.</summary>
    Misread,
}

/// <summary>
/// A run of cycles whose truth is known. What is charted is off by the product's own characters, drawn with a normal distribution of the
/// same variance: it proves the arithmetic and the rule, not that a ward's basins are as good as that.
/// </summary>
internal sealed class CycledBed
{
    private static readonly Instant Start = Instant.FromUtc(2026, 3, 14, 8, 0);

    public CycledBed(CycleFault fault, Vessel vessel, bool weighed, Random chance)
    {
        Fault = fault;
        var aliquot = new[] { 30, 40, 50 }[chance.Next(3)];
        var count = chance.Next(3, 8);
        FaultFrom = chance.Next(1, count);
        var (scale, minute, held) = (chance.Normal(Scale(vessel, weighed)), 0, 0.0);
        List<Entry> entries = [];
        for (var cycle = 1; cycle <= count; cycle++)
        {
            var given = aliquot * (1 + chance.Normal(0.04 / Math.Sqrt(3)));
            var minutes = chance.Next(2, 6);
            var inside = held + given + (minutes * chance.Within(0.5, 2)); // 30 to 120 mL/h of urine
            var broken = cycle >= FaultFrom;
            var passes = !broken
                ? 1
                : fault switch
                {
                    CycleFault.OneWay => chance.Within(0, 0.15),
                    CycleFault.Clot or CycleFault.Leak or CycleFault.ChartedLeak => chance.Within(0.3, 0.6),
                    _ => 1,
                };
            var residue = Math.Abs(chance.Normal(3)); // what a bladder keeps after any emptying
            var leaves = Math.Max(0, inside - residue) * passes;
            var leaks = fault is CycleFault.Leak or CycleFault.ChartedLeak && broken ? Math.Max(0, inside - residue) - leaves : 0;
            held = inside - leaves - leaks;
            Aliquot = aliquot;
            True.Add(given - leaves - (fault == CycleFault.ChartedLeak ? leaks : 0));

            entries.Add(new IrrigantInstilled(Header(minute, MeasuringWay.Syringe), "1", Ml(aliquot)));
            minute += minutes;
            if (fault == CycleFault.ChartedLeak && leaks > 0)
                entries.Add(new LeakEstimated(Header(minute, null), Ml(leaks * (1 + chance.Normal(0.5 / Math.Sqrt(3))))));
            var read = Read(leaves, vessel, weighed, scale, chance);
            if (fault == CycleFault.Misread && cycle == FaultFrom)
                read /= 10;
            var at = Header(minute, weighed ? MeasuringWay.Weighed : null);
            entries.Add(new DrainageEmptied(at, Slug.Of(vessel), Ml(read)) { Vessel = vessel });
            Returned.Add(Start + Duration.FromMinutes(minute));
            minute += chance.Next(1, 4);
        }

        EntryHeader Header(int after, MeasuringWay? how) =>
            new(new("bed", $"e{entries.Count}"), Start + Duration.FromMinutes(10 + after)) { How = how };
        var frame = new EpisodeFrame(Start, null, DateTimeZone.Utc, [new(7, 0), new(19, 0)]);
        var balance = FluidBalance.Of(EpisodeLog.Empty(frame).Append(entries, Start).Log, BalanceSettings.Default);
        var end = Start + Duration.FromHours(1);
        Run = RunsOfCycles.Of(balance, end).Single();
        var record = FlagRecord.Of(balance, Story.Adult, FlagLimits.Default, end);
        Raised = record.Ended.Concat(record.Standing).Where(flag => flag.Slug == "return-short").MinBy(flag => flag.Start)?.Start;
    }

    public CycleFault Fault { get; }

    /// <summary>The cycle from which on something is wrong.</summary>
    public int FaultFrom { get; }

    /// <summary>What really did not come back of each cycle, or was not charted as leaked, in mL.</summary>
    public List<double> True { get; } = [];

    /// <summary>What each aliquot was to be, in mL.</summary>
    public int Aliquot { get; private set; }

    /// <summary>Whether so much really did not come back that it is to be said: half an aliquot, or one over several cycles.</summary>
    public bool ReallyShort =>
        True.Exists(missing => missing >= 0.5 * Aliquot)
        || Enumerable.Range(0, True.Count).Any(last => Enumerable.Range(0, last).Any(first => True[first..(last + 1)].Sum() >= Aliquot));

    /// <summary>When each return was read, without the ten minutes before the first cycle.</summary>
    public List<Instant> Returned { get; } = [];

    public RunOfCycles Run { get; }

    /// <summary>When the return was first said to be short; null where it never was.</summary>
    public Instant? Raised { get; }

    /// <summary>The cycle whose return raised the flag; null where none did.</summary>
    public int? RaisedAt => Raised is { } raised ? Run.Cycles.First(cycle => cycle.ReturnedAt >= raised).Number : null;

    /// <summary>How many intervals of a cycle, and how many of them cover the truth.</summary>
    public (int Cycles, int Covered) Coverage
    {
        get
        {
            var regarded = Run.Cycles.Where(cycle => !(Fault == CycleFault.Misread && cycle.Number == FaultFrom)).ToList();
            return (
                regarded.Count,
                regarded.Count(cycle =>
                    cycle.Shortfall95 is { } range
                    && (double)range.Low.Millilitres <= True[cycle.Number - 1]
                    && True[cycle.Number - 1] <= (double)range.High.Millilitres
                )
            );
        }
    }

    private static Volume Ml(double ml) => Volume.FromMillilitres(Math.Max(0, Math.Round((decimal)ml, 1)));

    private static double Scale(Vessel vessel, bool weighed) =>
        weighed ? 0
        : vessel == Vessel.Basin ? 0.1 / Math.Sqrt(3)
        : vessel == Vessel.Jug ? 0.05 / Math.Sqrt(3)
        : 0;

    private static double Read(double content, Vessel vessel, bool weighed, double scale, Random chance)
    {
        var half =
            weighed ? 2
            : vessel == Vessel.Syringe ? 1 + (0.04 * content)
            : Math.Min(10, content + 5);
        return content * (1 + scale) + chance.Normal(half / Math.Sqrt(3));
    }
}
