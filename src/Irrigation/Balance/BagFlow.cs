using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>A flow in force from a moment on.</summary>
/// <param name="From">First instant.</param>
/// <param name="Set">The entry that says it.</param>
internal readonly record struct FlowFrom(Instant From, FlowSet Set);

/// <summary>What is charted of the flow out of a bag.</summary>
/// <param name="Pieces">The flows in force, in order; empty where none was charted that is about this bag.</param>
/// <param name="StartUnknown">Nobody charted what ran before the first of them, and nothing else shows that it stood still.</param>
internal sealed record FlowOfBag(IReadOnlyList<FlowFrom> Pieces, bool StartUnknown)
{
    /// <summary>The flow at a moment; stopped before the first that was charted. Null where none was.</summary>
    public FlowRate? At(Instant at)
    {
        if (Pieces.Count == 0)
            return null;
        var rate = FlowRate.Stopped;
        foreach (var piece in Pieces)
        {
            if (piece.From > at)
                break;
            rate = piece.Set.Rate;
        }

        return rate;
    }

    /// <summary>What it makes of a time.</summary>
    public Volume Over(Instant start, Instant end)
    {
        var sum = Volume.Zero;
        for (var i = 0; i < Pieces.Count && Pieces[i].From < end; i++)
        {
            var from = Instant.Max(start, Pieces[i].From);
            var to = i + 1 < Pieces.Count ? Instant.Min(end, Pieces[i + 1].From) : end;
            if (to > from)
                sum += Pieces[i].Set.Rate.Over(to - from);
        }

        return sum;
    }
}

/// <summary>
/// What ran out of a bag by any moment of its life: the label, the marks, the taking down and the charted flow, weighted by their
/// uncertainties (<see cref="JointEstimate"/>). Overfill and residue so belong to the whole life of the bag and to no hour of it.
/// </summary>
/// <remarks>
/// <para>The flow is the curve: as charted, off by a part that all flows of the line share and a part of each setting, and falling or
/// rising as the bag empties (off by x · p · (1 − p) of the bag at the fraction p). Where nobody charted it, it is even over the time
/// that the drain was open, its height is whatever the bag says, and its shape is in doubt by several such bows.</para>
/// <para>A charted flow that the readings contradict by more than three standard deviations gives the shape only: then it is evidently
/// not what ran. Our judgement.</para>
/// </remarks>
internal sealed class BagFlow
{
    /// <summary>The error of the minute at which a reading was taken.</summary>
    internal const string Minute = "time of the reading at";

    /// <summary>Beyond so many standard deviations two kinds of evidence contradict one another.</summary>
    internal const double Contradiction = 3;

    /// <summary>The doubt about a height of which nothing is known, as a part of it.</summary>
    private const double Anything = 10_000;

    /// <summary>Bows beside the first, of a flow that nobody charted: sines of two to four half waves.</summary>
    private static readonly string[] MoreBows = ["shape 2 of", "shape 3 of", "shape 4 of"];

    private readonly MeasuringCharacters characters;
    private readonly HangingBag bag;
    private readonly FlowOfBag? flow; // null where it is even over the unclamped time
    private readonly Func<Instant, Instant, decimal> open;
    private readonly Func<Instant, bool> timedByDevice;
    private readonly JointEstimate joint = new();
    private readonly double content;
    private readonly double whole; // what the curve is a fraction of
    private readonly Instant last;
    private readonly double left; // at its best: the flow cannot deliver more
    private readonly double evenly; // mL by the last reading, of a flow that nobody charted
    private bool anyHeight;

    /// <summary>Takes all evidence.</summary>
    /// <param name="settings">Characters of the measuring ways.</param>
    /// <param name="bag">The bag.</param>
    /// <param name="flow">What is charted of its flow.</param>
    /// <param name="held">What of it could run: its content by label less the tubing, or what its first reading says.</param>
    /// <param name="discarded">What left it by a moment and never reached the bladder.</param>
    /// <param name="open">Unclamped time between two instants, in ns.</param>
    /// <param name="timedByDevice">Whether a device read the drainage at a moment: its clock is not in doubt.</param>
    public BagFlow(
        BalanceSettings settings,
        HangingBag bag,
        FlowOfBag flow,
        Measured held,
        Func<Instant, Measured> discarded,
        Func<Instant, Instant, decimal> open,
        Func<Instant, bool> timedByDevice
    )
    {
        characters = settings.Characters;
        (this.bag, this.open, this.timedByDevice) = (bag, open, timedByDevice);
        content = Math.Max(0, (double)held.Best.Millilitres);
        var readings = bag.Readings.Where(r => HangingBag.LeftBy(r) is not null && (bag.Hung is not null || r != bag.Readings[0])).ToList();
        last = readings.Count > 0 ? readings[^1].At : bag.From;
        this.flow = flow.Pieces.Count > 0 && (readings.Count == 0 || flow.Over(bag.From, last) > Volume.Zero) ? flow : null;
        if (this.flow is null && readings.Count > 0)
        {
            evenly = Math.Max(0, (double)(held.Charted - HangingBag.LeftBy(readings[^1])!.Value - discarded(last).Charted).Millilitres);
        }

        left = Math.Max(
            0,
            readings.Count > 0
                ? (double)readings.Min(r => HangingBag.LeftBy(r)!.Value).Millilitres
                : (double)held.Best.Millilitres - (double)characters.EmptyBagResidue.Mean
        );
        anyHeight = this.flow is null;
        whole = Math.Max(Math.Max(content, 1), Ran(last));
        var weighed = Weighed(readings);
        var observations = weighed.ConvertAll(reading => Observation(reading, held, discarded(reading.At)));
        if (!anyHeight && observations.Exists(o => JointEstimate.Surprise(o) > Contradiction))
        {
            anyHeight = true;
            observations = weighed.ConvertAll(reading => Observation(reading, held, discarded(reading.At)));
        }

        foreach (var observation in observations)
            joint.Observe(observation);
        joint.Complete();
    }

    /// <summary>Without those that show more than one before them by more than both may be wrong: another bag, or a slip.</summary>
    private List<Entry> Weighed(List<Entry> readings)
    {
        if (readings.Count < 2)
            return readings;
        var weighed = new List<Entry>(readings.Count);
        Measured? lowest = null;
        foreach (var reading in readings)
        {
            var now = Left(reading);
            if (lowest is { } before && now.Charted > before.Charted)
            {
                var rise = new LinearForm(joint).Add(now).Add(before, -1);
                if (JointEstimate.Surprise(rise) > Contradiction)
                    continue;
            }

            if (!(now.Charted > lowest?.Charted))
                lowest = now;
            weighed.Add(reading);
        }

        return weighed;
    }

    private Measured Left(Entry reading) => characters.Left(HangingBag.LeftBy(reading)!.Value, reading.Header, bag.Key);

    /// <summary>What ran between two moments, at its best and with its doubts.</summary>
    public (double Best, ErrorBudget Errors) Between(Instant start, Instant end) => joint.Given(By(By(new(joint), end, 1), start, -1));

    private LinearForm Observation(Entry reading, Measured held, Measured discarded) =>
        By(new LinearForm(joint).Add(held).Add(Left(reading), -1).Add(discarded, -1), reading.At, -1);

    /// <summary>With so many times added what ran by a moment, by the flow alone.</summary>
    private LinearForm By(LinearForm form, Instant at, double times)
    {
        at = bag.To is { } ended && at > ended ? ended : at;
        if (at <= bag.From)
            return form;
        var ran = Ran(at);
        if (flow is null)
            form.Add(ran * times);
        else
            Charted(form, at, times);
        if (anyHeight)
            Doubt(form, "height of the flow from", Anything * (ran + Beyond(at)) * times);

        var part = Math.Clamp(ran / whole, 0, 1);
        var drift = (double)ErrorBudget.Rectangular(flow is null ? characters.UnchartedFlowDrift : characters.ChartedFlowDrift);
        Doubt(form, "shape of", drift * whole * part * (1 - part) * times);
        for (var bow = 0; flow is null && bow < MoreBows.Length; bow++)
        {
            var half = bow + 2; // half waves
            Doubt(form, MoreBows[bow], drift * whole * Math.Sin(half * Math.PI * part) / (8 * half) * times);
        }

        // A moment charted a little early or late met another level; beside the hanging or taking down no more than the time between.
        var beside = at - bag.From;
        if (bag.To is { } to)
            beside = Duration.Min(beside, to - at);
        var minutes = Math.Min((double)characters.ReadingTime, beside.TotalMinutes);
        if (minutes > 0 && Slope(at) is > 0 and var slope && !timedByDevice(at))
        {
            form.Doubt(Minute, "", "", minutes * (slope + ((double)characters.UrineMeanwhile / 60)) * times, at);
        }

        return form;
    }

    /// <summary>By the charted flow. What it makes after the last reading cannot be more than was left.</summary>
    private void Charted(LinearForm form, Instant at, double times)
    {
        List<(FlowSet Set, double Ran)>? untold = null;
        for (var i = 0; i < flow!.Pieces.Count && flow.Pieces[i].From < at; i++)
        {
            var (from, set) = (Instant.Max(bag.From, flow.Pieces[i].From), flow.Pieces[i].Set);
            var to = i + 1 < flow.Pieces.Count ? Instant.Min(at, flow.Pieces[i + 1].From) : at;
            if (from < last)
            {
                var ran = (double)set.Rate.Over(Instant.Min(to, last) - from).Millilitres;
                Piece(form.Add(ran * times), set, ran * times);
            }

            if (to > last)
                (untold ??= []).Add((set, (double)set.Rate.Over(to - Instant.Max(from, last)).Millilitres));
        }

        if (untold is not null)
        {
            var (mean, fades) = AtMostLeft(untold);
            form.Add(mean * times);
            foreach (var (set, ran) in untold)
                Piece(form, set, ran * fades * times);
        }

        if (!flow.StartUnknown)
            return;
        var (gap, rate) = (flow.Pieces[0].From - bag.From, (double)flow.Pieces[0].Set.Rate.MillilitresPerHour);
        var half = rate * Math.Min((at - bag.From).TotalHours, gap.TotalHours) / 2;
        Doubt(form.Add(half * times), "start of the flow from", half * times / Math.Sqrt(3));
    }

    private void Piece(LinearForm form, FlowSet set, double ran)
    {
        var (shared, own) = characters.FlowDoubt(set);
        form.Doubt("flow on line", set.Line, "", shared * ran).Doubt("reading", set.Key.Source, set.Key.Id, own * ran);
    }

    private void Doubt(LinearForm form, string what, double contribution) => form.Doubt(what, bag.Key.Source, bag.Key.Id, contribution);

    /// <summary>What is to be expected of a flow that cannot deliver more than was left, and the part of its doubt that remains.</summary>
    /// <remarks>
    /// Expectation and standard deviation of the lesser of a normal quantity and a bound: a bag that is dry by its charted flow may
    /// still run, more slowly, and the longer it would have been dry the less so.
    /// </remarks>
    private (double Mean, double Fades) AtMostLeft(List<(FlowSet Set, double Ran)> pieces)
    {
        var (ran, shared, squares) = (0.0, 0.0, 0.0);
        foreach (var (set, piece) in pieces)
        {
            var (all, own) = characters.FlowDoubt(set);
            (ran, shared, squares) = (ran + piece, shared + (all * piece), squares + (own * own * piece * piece));
        }

        var doubt = Math.Sqrt((shared * shared) + squares);
        var room = left - ran;
        if (doubt <= 0)
            return (Math.Min(ran, left), room < 0 ? 0 : 1);
        var z = room / doubt;
        if (z > 4)
            return (ran, 1);
        var (below, density) = (StandardNormal.Cumulative(z), Math.Exp(-z * z / 2) / Math.Sqrt(2 * Math.PI));
        var spare = (room * below) + (doubt * density);
        var square = (((room * room) + (doubt * doubt)) * below) + (room * doubt * density);
        return (left - spare, Math.Sqrt(Math.Max(0, square - (spare * spare))) / doubt);
    }

    /// <summary>By the flow alone; after the last reading no more than was left.</summary>
    private double Ran(Instant at)
    {
        if (flow is null)
            return last > bag.From ? evenly * Even(at) : 0;
        return (double)flow.Over(bag.From, at).Millilitres - Beyond(at);
    }

    /// <summary>What the flow makes beyond what was left.</summary>
    private double Beyond(Instant at) => flow is null || at <= last ? 0 : Math.Max(0, (double)flow.Over(last, at).Millilitres - left);

    /// <summary>The part of the time up to the last reading, by unclamped time where the drain was open for some of it.</summary>
    private double Even(Instant at)
    {
        at = Instant.Min(at, last);
        var all = open(bag.From, last);
        return all > 0 ? (double)(open(bag.From, at) / all) : (at - bag.From) / (last - bag.From);
    }

    /// <summary>mL a minute, just before a moment.</summary>
    private double Slope(Instant at)
    {
        if (flow is not null)
            return Beyond(at) > 0 ? 0 : (double)flow.At(at - Duration.Epsilon)!.Value.MillilitresPerHour / 60;
        return last > bag.From ? evenly / (last - bag.From).TotalMinutes : 0;
    }
}
