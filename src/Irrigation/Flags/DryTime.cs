using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>A time up to the latest reading in which nothing drained, or next to nothing, while irrigant ran in.</summary>
/// <param name="Since">Where it begins.</param>
/// <param name="Instilled">What ran in; more than 0.</param>
/// <param name="Drained">What drained, as read.</param>
/// <param name="Single">The interval, where it is only one; null where several readings in a row say the same.</param>
/// <remarks>
/// <para>Nothing is no more than <see cref="FlagSettings.NoDrainageUpTo"/>, where what ran in is more than two readings off marks may be
/// wrong by (k = 2): an empty bag is told by one look, a level that did not rise is not.</para>
/// <para>A bag read off its marks shows some mL where there are none: what is no more than the error of such a reading
/// (<see cref="BalanceSettings.LevelTolerance"/>) and no more than half of what ran in is next to nothing, if what is missing is more
/// than the doubt about the readings (k = 2). Over less than <see cref="FlagSettings.NoDrainageFor"/> nothing of that kind is said: there
/// the minute of a reading is most of it.</para>
/// <para>For a small bladder the mL are fewer, in proportion: what it drains is read off finer marks, and it is full sooner. All of it is
/// our judgement.</para>
/// </remarks>
internal sealed record DryTime(Instant Since, Volume Instilled, Volume Drained, ClosedInterval? Single)
{
    /// <summary>The longest one that readings close enough together show, if it is as long as a limit; null where there is none.</summary>
    public static DryTime? Of(Bedside bedside, Duration limit)
    {
        DryTime? dry = null;
        var (into, outOf, doubt) = (Volume.Zero, Volume.Zero, new ReadingDoubt(bedside));
        var closed = bedside.Balance[FluidBalance.Bladder];
        for (var i = closed.Count - 1; i >= 0; i--)
        {
            if (closed[i] is not { Drained: { } drained, Instilled: { } instilled } interval)
                break;
            if (instilled <= Volume.Zero || IsHole(interval, bedside) || interval.Caveats.Contains(Caveat.DwellInProgress))
                break;
            if (OutflowDoubt.Of(interval) is not null)
                break;
            (into, outOf) = (into + instilled, outOf + drained);
            doubt.Add(interval);
            if (!IsNothing(outOf, bedside) && outOf > Trickle(bedside))
                break;
            if (closed[^1].End - interval.Start is var length && length >= limit && IsDry(into, outOf, length, doubt, bedside))
            {
                dry = new(interval.Start, into, outOf, i == closed.Count - 1 ? interval : null);
            }
        }

        return dry;
    }

    /// <summary>The latest interval, where it would be dry but for a hole in the charting; else null.</summary>
    public static ClosedInterval? OverHole(Bedside bedside)
    {
        if (bedside.Latest is not { Drained: { } drained, Instilled: { } instilled } latest)
            return null;
        if (instilled <= Volume.Zero || !IsHole(latest, bedside) || latest.Caveats.Contains(Caveat.DwellInProgress))
            return null;
        if (OutflowDoubt.Of(latest) is not null || (!IsNothing(drained, bedside) && drained > Trickle(bedside)))
            return null;
        var doubt = new ReadingDoubt(bedside);
        doubt.Add(latest);
        return IsDry(instilled, drained, latest.Length, doubt, bedside) ? latest : null;
    }

    /// <summary>Whether two readings lie so far apart that a container may have been emptied in between and nobody charted it.</summary>
    public static bool IsHole(ClosedInterval interval, Bedside bedside) => interval.Length > bedside.Settings.HoleAfter;

    /// <summary>Whether an amount is nothing, as read.</summary>
    public static bool IsNothing(Volume drained, Bedside bedside) => drained <= bedside.ForBladder(bedside.Settings.NoDrainageUpTo);

    /// <summary>Up to where an amount may be the error of a reading.</summary>
    public static Volume Trickle(Bedside bedside) => bedside.ForBladder(bedside.Balance.Settings.LevelTolerance);

    private static bool IsDry(Volume into, Volume outOf, Duration length, ReadingDoubt doubt, Bedside bedside) =>
        (IsNothing(outOf, bedside) && (double)into.Millilitres > doubt.OfMarks)
        || (length >= bedside.Settings.NoDrainageFor && outOf * 2 <= into && (double)(into - outOf).Millilitres > doubt.Of(into, length));

    /// <summary>The doubt about the readings of a time: of each its marks, or its scale, and the minute in which it was taken.</summary>
    private sealed class ReadingDoubt(Bedside bedside)
    {
        private readonly MeasuringCharacters characters = bedside.Balance.Settings.Characters;
        private double squares; // of readings that stand by themselves
        private double begins; // of those that the earliest interval was compared with
        private bool compared;

        /// <summary>With the interval before those that were added.</summary>
        /// <remarks>A level cancels between the interval that it closes and the one that it opens.</remarks>
        public void Add(ClosedInterval interval)
        {
            var readings = interval.Parts.Where(part => part.Kind == PartKind.Drainage).ToList();
            if (!compared)
                squares += readings.Sum(part => Square(part.Entry, part.Whole ?? Volume.Zero));
            begins = readings.Sum(part => Square(part.Entry, part.Readings?.Before ?? Lower(part)));
            compared = readings.Count > 0 && readings.TrueForAll(part => part.Readings is not null);
        }

        /// <summary>A level read a little lower than before was compared with one like it.</summary>
        private static Volume Lower(Part part) =>
            part is { Amount: { } added, Whole: { } level } && added == Volume.Zero ? level : Volume.Zero;

        /// <summary>In mL, k = 2, of the marks or the scale alone: a level that did not rise may have risen by as much.</summary>
        public double OfMarks => 2 * Math.Sqrt(squares + begins);

        /// <summary>In mL, k = 2.</summary>
        public double Of(Volume into, Duration length)
        {
            var moment = (double)into.Millilitres / length.TotalMinutes * (double)characters.ReadingTime;
            return 2 * Math.Sqrt(squares + begins + (2 * moment * moment));
        }

        private double Square(EntryKey key, Volume content)
        {
            var reading = bedside.Log.Current(key)?.Entry;
            var weighed = reading is DrainageWeighed or { Header.How: MeasuringWay.Weighed };
            var marks = bedside.ForBladder(Volume.FromMillilitres(characters.DrainageGraduation.Random)).Millilitres;
            var half = weighed ? characters.Scale.Random : Math.Min(marks, Math.Abs(content.Millilitres) + characters.FirstMark);
            var error = (double)ErrorBudget.Rectangular(half);
            return error * error;
        }
    }
}
