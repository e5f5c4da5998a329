using Irrigation.Balance;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>R: irrigant that ran in and is not accounted for, urine taken as 0.</summary>
/// <param name="Since">From when it adds up.</param>
/// <param name="UpTo">The closing up to which it is known.</param>
/// <param name="Instilled">What ran in, as charted.</param>
/// <param name="Drained">What drained or was charted as leaked.</param>
/// <param name="Amount">The former less the latter; above 0.</param>
/// <param name="Interval95">The 95 % interval round its best estimate; null where the doubts are not known.</param>
/// <param name="Latest">The interval that closed last.</param>
/// <remarks>
/// A lower bound of what is retained or otherwise unaccounted for, because real urine only adds to it (src/Irrigation/README.md, section
/// 9). A sum over the intervals that lead up to the latest closing, so that what stays behind little by little adds up, and what comes back
/// later is taken off. Fluid that is charted as leaked is accounted for; what a scan says the bladder holds is not.
/// </remarks>
public sealed record Deficit(
    Instant Since,
    Instant UpTo,
    Volume Instilled,
    Volume Drained,
    Volume Amount,
    VolumeRange? Interval95,
    ClosedInterval Latest
)
{
    /// <summary>The largest deficit at a bedside; null where there is none, or the latest interval is not known.</summary>
    public static Deficit? Of(Bedside bedside) => Of(bedside, Volume.Zero).Largest;

    /// <summary>
    /// The largest deficit, and the largest of those from an amount on whose 95 % interval lies above 0: the doubts grow with the volume
    /// that ran, so that a long sum can be in doubt where a short one is not. Either null where there is none.
    /// </summary>
    public static (Deficit? Largest, Deficit? Certain) Of(Bedside bedside, Volume from)
    {
        var closed = bedside.Balance[FluidBalance.Bladder];
        var sums = new List<(int First, Volume Into, Volume Amount)>();
        var (sum, into, largest) = (Volume.Zero, Volume.Zero, -1);
        for (var i = closed.Count - 1; i >= 0 && closed[i].End > bedside.At - bedside.Settings.DeficitReach; i--)
        {
            if (closed[i] is not { Worked: { } known, Instilled: { } instilled } interval)
                break;
            sum += (interval.RetainedChange ?? Volume.Zero) - known.Charted;
            into += instilled;
            sums.Add((i, into, sum));
            if (sum > (largest < 0 ? Volume.Zero : sums[largest].Amount))
                largest = sums.Count - 1;
        }

        if (largest < 0)
            return default;
        if (sums[largest].Amount < from)
            return (At(null), null); // as nearly always: nobody asks for its doubts

        var errors = ErrorBudget.None;
        var best = Volume.Zero;
        (VolumeRange? ofLargest, Deficit? certain) = (null, null);
        for (var j = 0; j < sums.Count; j++)
        {
            var interval = closed[sums[j].First];
            if (interval.Output?.Interval95 is null)
                break;
            var held = interval.RetainedChange ?? Volume.Zero;
            best += held - interval.Worked!.Value.Best;
            errors -= interval.Worked.Value.Errors;
            if (j != largest && (sums[j].Amount < from || sums[j].Amount <= certain?.Amount))
                continue;
            var half = errors.StandardUncertainty * UrineOutput.CoverageFactor;
            var range = new VolumeRange(best - half, best + half);
            if (j == largest)
                ofLargest = range;
            if (sums[j].Amount >= from && range.Low > Volume.Zero && !(sums[j].Amount <= certain?.Amount))
                certain = Made(sums[j], range);
        }

        return (At(ofLargest), certain);

        Deficit At(VolumeRange? range) => Made(sums[largest], range);
        Deficit Made((int First, Volume Into, Volume Amount) s, VolumeRange? range) =>
            new(closed[s.First].Start, closed[^1].End, s.Into, s.Into - s.Amount, s.Amount, range, closed[^1]);
    }

    /// <summary>What a nurse can check by hand.</summary>
    public string Says(Bedside bedside)
    {
        var time = $"from {bedside.Said(Since)} to {bedside.Said(UpTo)}";
        var doubts = Interval95 is { } range
            ? $"The 95 % interval is {AsRead.Range(range)}"
            : "How far off that may be cannot be told, for something was not charted";
        return $"{Amount} of irrigant not accounted for {time}: {Instilled} in, {Drained} out, urine taken as 0. {doubts}";
    }
}
