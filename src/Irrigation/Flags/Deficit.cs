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
/// A lower bound of what is retained or otherwise unaccounted for, because real urine only adds to it (clinical reference, section 9).
/// The largest sum over the intervals that lead up to the latest closing, so that what stays behind little by little adds up, and what
/// comes back later is taken off. Fluid that is charted as leaked is accounted for; what a scan says the bladder holds is not.
/// </remarks>
public sealed record Deficit(Instant Since, Instant UpTo, Volume Instilled, Volume Drained, Volume Amount, VolumeRange? Interval95, ClosedInterval Latest)
{
    /// <summary>The deficit at a bedside; null where there is none, or the latest interval is not known.</summary>
    public static Deficit? Of(Bedside bedside)
    {
        var closed = bedside.Balance[FluidBalance.Bladder];
        var (sum, into, outOf) = (Volume.Zero, Volume.Zero, Volume.Zero);
        var worked = Measured.Nothing;
        Deficit? largest = null;
        for (var i = closed.Count - 1; i >= 0 && closed[i].End > bedside.At - bedside.Settings.DeficitReach; i--)
        {
            var interval = closed[i];
            if (interval.Worked is not { } known || interval.Instilled is not { } instilled) break;
            var held = interval.RetainedChange ?? Volume.Zero;
            sum += held - known.Charted;
            into += instilled;
            outOf += instilled - held + known.Charted;
            worked += Measured.Nothing - known + new Measured(held, held, ErrorBudget.None);
            if (sum <= (largest?.Amount ?? Volume.Zero)) continue;
            VolumeRange? range = null;
            if (Known(closed, i))
            {
                var half = worked.Errors.StandardUncertainty * UrineOutput.CoverageFactor;
                range = new(worked.Best - half, worked.Best + half);
            }

            largest = new(interval.Start, closed[^1].End, into, outOf, sum, range, closed[^1]);
        }

        return largest;
    }

    /// <summary>What a nurse can check by hand.</summary>
    public string Says(Bedside bedside) =>
        $"{Amount} of irrigant not accounted for from {bedside.Said(Since)} to {bedside.Said(UpTo)}: {Instilled} in, {Drained} out, urine taken as 0{(Interval95 is { } range ? $"; 95 % interval {range.Low} to {range.High}" : "; its doubts are not known, for something was not charted")}";

    private static bool Known(IReadOnlyList<ClosedInterval> closed, int from)
    {
        for (var i = from; i < closed.Count; i++)
        {
            if (closed[i].Output?.Interval95 is null) return false;
        }

        return true;
    }
}
