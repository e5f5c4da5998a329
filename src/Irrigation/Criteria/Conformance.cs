using Irrigation.Measures;

namespace Irrigation.Criteria;

/// <summary>
/// The probability that a true value lies on one side of a threshold, given its measurement: the conformance probability of JCGM 106:2012.
/// </summary>
/// <remarks>
/// <para>JCGM 106:2012, The role of measurement uncertainty in conformity assessment, clause 7: the part of the distribution of what is
/// known that lies within the tolerance; for one limit and a normal distribution Φ((T − y) / u).</para>
/// <para>What was known before the measurement: the kidneys make no less than nothing, and nothing else. So the prior is flat from 0 on
/// and none below, and what is known after it is the normal distribution of the best estimate y and its standard uncertainty u, cut off
/// at 0 and made whole again: P(Y &lt; T) = (Φ((T − y) / u) − Φ(−y / u)) / (1 − Φ(−y / u)). (The guide, too, takes a prior
/// without negative values for a quantity that has none: 9.5.4, a gamma distribution.) Where y lies some u above 0 the cut takes away
/// nothing.</para>
/// <para>Beware: a flat prior says that 5 mL and 5 L are as likely beforehand. It lets the measurement speak alone; a ward that knows how
/// its patients do knows more. And far below 0 the answer is that there was next to nothing, whereas a term of the balance is missing:
/// whoever asks has to look at that first (<see cref="Obstacle.BelowZero"/>).</para>
/// <para>A value has no probability of its own, so &lt; and ≤ differ only where u is 0.</para>
/// </remarks>
public static class Conformance
{
    /// <summary>The probability that the value lies below a threshold.</summary>
    /// <param name="estimate">The best estimate; any sign, finite.</param>
    /// <param name="uncertainty">
    /// Its standard uncertainty in the same unit; 0 or more, finite. 0: the estimate is the value, or 0 where it is below that.
    /// </param>
    /// <param name="threshold">In the same unit, finite.</param>
    /// <param name="inclusive">Whether the threshold itself counts as below.</param>
    /// <returns>0 to 1.</returns>
    /// <exception cref="ArgumentOutOfRangeException">A number is not finite, or the uncertainty below 0.</exception>
    public static double Below(double estimate, double uncertainty, double threshold, bool inclusive = false)
    {
        Check(estimate, uncertainty, threshold);
        var (lowest, limit) = (-estimate / uncertainty, (threshold - estimate) / uncertainty);
        if (uncertainty == 0 || double.IsInfinity(lowest) || double.IsInfinity(limit))
        {
            var value = Math.Max(estimate, 0);
            return value < threshold || (inclusive && value == threshold) ? 1 : 0;
        }

        if (threshold <= 0)
            return 0;

        // Below the estimate the lower tail is small and exact; above it the upper one is.
        return limit <= 0
            ? (StandardNormal.Cumulative(limit) - StandardNormal.Cumulative(lowest)) / StandardNormal.UpperTail(lowest)
            : 1 - TailBeyond(limit, lowest, threshold / uncertainty);
    }

    /// <summary>The probability that the value lies above a threshold, strictly.</summary>
    /// <inheritdoc cref="Below" path="/param"/>
    /// <returns>0 to 1.</returns>
    /// <exception cref="ArgumentOutOfRangeException">A number is not finite, or the uncertainty below 0.</exception>
    public static double Above(double estimate, double uncertainty, double threshold) =>
        1 - Below(estimate, uncertainty, threshold, inclusive: true);

    /// <summary>The part beyond a limit of all that lies beyond the lowest value, in units of u; the limit above 0.</summary>
    private static double TailBeyond(double limit, double lowest, double apart)
    {
        if (lowest <= 0)
            return StandardNormal.UpperTail(limit) / StandardNormal.UpperTail(lowest);

        // Both tails may be too small for a double, while their ratio is not. Where they are next to equal it must not be rounded to
        // more than 1.
        var fading = Math.Exp(-apart * (limit + lowest) / 2);
        return Math.Min(1, fading * StandardNormal.ScaledUpperTail(limit) / StandardNormal.ScaledUpperTail(lowest));
    }

    private static void Check(double estimate, double uncertainty, double threshold)
    {
        ArgumentOutOfRangeException.ThrowIfNegative(uncertainty);
        if (double.IsFinite(estimate) && double.IsFinite(uncertainty) && double.IsFinite(threshold))
            return;
        var seen = $"{estimate} ± {uncertainty}, threshold {threshold}";
        throw new ArgumentOutOfRangeException(nameof(estimate), seen, "finite numbers are expected");
    }
}
