using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Tests.VirtualWard;

/// <summary>A reading of the drainage.</summary>
/// <param name="Minute">As charted.</param>
/// <param name="Taken">When it was really taken.</param>
/// <param name="Entry">What was charted.</param>
internal readonly record struct ChartedReading(int Minute, double Taken, Entry Entry);

/// <summary>What the ward charted of a bed: all that the service ever gets to know.</summary>
internal sealed class ChartedBed
{
    private const double EmptiedAbove = 2000; // a level that is read and not emptied is emptied from here on, in mL; our judgement
    private readonly List<(int Minute, FlowSet Entry)> flows = [];
    private readonly Random chance;
    private readonly bool emptiesEachTime;
    private int ids;

    public ChartedBed(WardBed bed, ChartingWay way, Random chance)
    {
        (Bed, Way, this.chance) = (bed, way, chance);
        emptiesEachTime = chance.Happens(0.5);
        Entries.Add(new WeightMeasured(Header(0), new((decimal)bed.Kilograms, WeightKind.Actual)));
        ChartFlows();
        ChartBags();
        ChartDrainage();
        if (way.Late)
            ChartLate();
    }

    public WardBed Bed { get; }

    public ChartingWay Way { get; }

    public List<Entry> Entries { get; } = [];

    public List<ChartedReading> Readings { get; } = [];

    /// <summary>Charted flow × charted time, in mL: what a nurse takes off who has nothing else.</summary>
    public double FlowTimesTime(double from, double to)
    {
        var sum = 0.0;
        for (var i = 0; i < flows.Count; i++)
        {
            var (start, end) = (Math.Max(from, flows[i].Minute), Math.Min(to, i + 1 < flows.Count ? flows[i + 1].Minute : to));
            sum += Math.Max(0, end - start) / 60 * (double)flows[i].Entry.Rate.MillilitresPerHour;
        }

        return sum;
    }

    /// <summary>Minutes since the start.</summary>
    public static double MinuteOf(Instant at) => (at - VirtualBed.Start).TotalMinutes;

    /// <summary>The same chart with a reading typed wrong, or twice.</summary>
    public IReadOnlyList<Entry> With(ChartedReading reading, IEnumerable<Entry> instead) =>
        [.. Entries.Where(entry => entry.Key != reading.Entry.Key), .. instead];

    private void ChartFlows()
    {
        foreach (var flow in Bed.Flows)
        {
            var minute = flows.Count == 0 ? 0 : Charted(flow.Minute, after: flows[^1].Minute);
            flows.Add((minute, new(Header(minute), "1", FlowRate.FromMillilitresPerHour((decimal)flow.Charted), null, null)));
            Entries.Add(flows[^1].Entry);
        }
    }

    private void ChartBags()
    {
        var hung = 0;
        for (var i = 0; i < Bed.Bags.Count; i++)
        {
            var bag = Bed.Bags[i];
            var taken = i + 1 < Bed.Bags.Count ? Charted(Bed.Bags[i + 1].Minute, after: hung) : (int?)null;
            Entries.Add(new BagHung(Header(hung), "1", Ml(bag.Label), null, "this type", "sodium chloride 0.9 %", Volume.Zero));
            if (Way.BagMarks)
                ReadBag(bag, hung, taken ?? Bed.Minutes);
            if (taken is not { } down)
                break;
            Entries.Add(new BagTakenDown(Header(down), "1", Volume.Zero));
            hung = down;
        }
    }

    private void ReadBag(HungBag bag, int hung, int taken)
    {
        var marks = Bed.Errors.MarksOfBag();
        for (var minute = (hung / 60 * 60) + 60; minute < taken - 2; minute += 60)
        {
            if (minute <= hung + 2)
                continue;
            var left = bag.Content - Math.Clamp(Bed.Irrigant(Really(minute)) - bag.Before, 0, bag.Delivered);
            Entries.Add(new BagRead(Header(minute), "1", Ml(Bed.Errors.LeftByMarks(left, marks))));
        }
    }

    private void ChartDrainage()
    {
        Entries.Add(new DrainageLevelRead(Header(0), "1", Volume.Zero));
        var (charted, before, emptied) = (0, 0.0, 0.0);
        while (NextRound(charted, emptied) is { } minute)
        {
            charted = minute;
            if (chance.Happens(Way.Missed) && Content(minute + 60, emptied) < PublishedErrors.ContainerFull)
                continue;
            var taken = Math.Min(Bed.Minutes, Math.Max(before + 1, Really(minute)));
            var content = Content(taken, emptied);
            var empties = emptiesEachTime || content > EmptiedAbove;
            Entries.Add(Reading(minute, content, emptied, taken, empties));
            Readings.Add(new(minute, taken, Entries[^1]));
            before = taken;
            if (empties)
                emptied = taken;
        }
    }

    /// <summary>
    /// When somebody comes by next: after so many minutes, with a change of bag where one is near, and before the container runs over.
    /// </summary>
    private int? NextRound(int charted, double emptied)
    {
        var next = charted + (Way.Every ?? (int)chance.Within(60, 240));
        var change = Bed.Bags.FirstOrDefault(bag => bag.Minute > charted + 15 && Math.Abs(bag.Minute - next) <= 30);
        if (Way.Every is null && change.Minute > 0 && chance.Happens(0.7))
            next = change.Minute + chance.Next(-2, 3);
        while (next > charted + 15 && Content(next, emptied) > PublishedErrors.ContainerFull)
            next--;
        return next <= Bed.Minutes ? next : null;
    }

    private double Content(double minute, double emptied) => Bed.Drained(minute) - Bed.Drained(emptied);

    private Entry Reading(int minute, double content, double emptied, double taken, bool empties)
    {
        if (!Way.Weighed)
        {
            var seen = Ml(Bed.Errors.ByMarks(content));
            return empties ? new DrainageEmptied(Header(minute), "1", seen) : new DrainageLevelRead(Header(minute), "1", seen);
        }

        var made = Bed.Urine(taken) - Bed.Urine(emptied);
        var urine = content * made / Math.Max(1, made + Bed.Irrigant(taken) - Bed.Irrigant(emptied));
        var gross = Mass.FromGrams((decimal)Bed.Errors.OnTheScale(content - urine, urine, Bed.UrineRate(emptied, taken)));
        var tare = Mass.FromGrams((decimal)PublishedErrors.Tare);
        var header = Header(minute, MeasuringWay.Weighed) with { Device = Way.ByDevice ? "scale 1" : null };
        return new DrainageWeighed(header, "1", gross, tare, null, empties);
    }

    /// <summary>
    /// Each entry is charted when somebody gets to it, and what is outstanding on the same sheet with it, so that one sheet is in order.
    /// Irrigant and drainage are two sheets: our judgement.
    /// </summary>
    private void ChartLate()
    {
        foreach (var sheet in Entries.Where(entry => entry.At > VirtualBed.Start).GroupBy(BedReplay.ReadsDrainage).ToArray())
        {
            var soonest = Instant.MaxValue;
            foreach (var entry in sheet.OrderByDescending(entry => entry.At))
            {
                var own = entry.At + Duration.FromMinutes(Math.Round(Bed.Errors.MinutesLate()));
                soonest = Instant.Max(entry.At, Instant.Min(soonest, own));
                Entries[Entries.IndexOf(entry)] = entry with { Header = entry.Header with { RecordedAt = soonest } };
            }
        }
    }

    /// <summary>When what is charted for a minute really happened.</summary>
    private double Really(int charted) => Way.TimesOff ? charted + Bed.Errors.Minutes() : charted;

    /// <summary>The minute that is charted for what happened.</summary>
    private int Charted(int happened, int after) =>
        Math.Clamp(Way.TimesOff ? (int)Math.Round(happened + Bed.Errors.Minutes()) : happened, after + 1, Math.Max(after + 1, Bed.Minutes));

    private static Volume Ml(double millilitres) => Volume.FromMillilitres((decimal)millilitres);

    private EntryHeader Header(int minute, MeasuringWay? how = null)
    {
        var at = VirtualBed.Start + Duration.FromMinutes(minute);
        return new(new("ward", FormattableString.Invariant($"{++ids:000}")), at) { How = how };
    }
}
