namespace Irrigation.Measures;

/// <summary>The standard normal distribution, to double precision from its middle to its far tail.</summary>
/// <remarks>
/// By the complementary error function of W. J. Cody, Rational Chebyshev approximations for the error function, Math. Comp. 23
/// (1969) 631–637, with the coefficients of his published routine; largest relative error some 1e-15. Written out here so that the
/// core needs no package for one function.
/// </remarks>
public static class StandardNormal
{
    private const double RootHalf = 0.70710678118654752440;
    private const double InverseRootPi = 0.56418958354775628695;

    private static ReadOnlySpan<double> SmallAbove =>
        [0.185777706184603153, 3.16112374387056560, 113.864154151050156, 377.485237685302021, 3209.37758913846947];

    private static ReadOnlySpan<double> SmallBelow =>
        [1, 23.6012909523441209, 244.024637934444173, 1282.61652607737228, 2844.23683343917062];

    private static ReadOnlySpan<double> MiddleAbove =>
        [
            2.15311535474403846e-8,
            0.564188496988670089,
            8.88314979438837594,
            66.1191906371416295,
            298.635138197400131,
            881.952221241769090,
            1712.04761263407058,
            2051.07837782607147,
            1230.33935479799725,
        ];

    private static ReadOnlySpan<double> MiddleBelow =>
        [
            1,
            15.7449261107098347,
            117.693950891312499,
            537.181101862009858,
            1621.38957456669019,
            3290.79923573345963,
            4362.61909014324716,
            3439.36767414372164,
            1230.33935480374942,
        ];

    private static ReadOnlySpan<double> LargeAbove =>
        [
            0.0163153871373020978,
            0.305326634961232344,
            0.360344899949804439,
            0.125781726111229246,
            0.0160837851487422766,
            0.000658749161529837803,
        ];

    private static ReadOnlySpan<double> LargeBelow =>
        [1, 2.56852019228982242, 1.87295284992346047, 0.527905102951428412, 0.0605183413124413191, 0.00233520497626869185];

    /// <summary>The probability of a value up to z.</summary>
    public static double Cumulative(double z) => UpperTail(-z);

    /// <summary>The probability of a value above z. Beyond some 38 it is less than any double and comes out as 0.</summary>
    public static double UpperTail(double z) => z < 0 ? 1 - UpperTail(-z) : ScaledUpperTail(z) * Fading(z);

    /// <summary>
    /// The same times exp(z² / 2), for z of 0 or more: what is left to compare where two tails are both less than any double.
    /// </summary>
    public static double ScaledUpperTail(double z)
    {
        if (z < 0)
            throw new ArgumentOutOfRangeException(nameof(z), z, "0 or more is expected"); // a negative zero is a zero
        return ScaledErrorFunctionComplement(z * RootHalf) / 2;
    }

    /// <summary>exp(−z² / 2), worked in two factors so that the rounding of z² does not grow with z (Cody's way).</summary>
    private static double Fading(double z)
    {
        if (z > 64)
            return 0;
        var coarse = Math.Truncate(z * 16) / 16;
        return Math.Exp(-coarse * coarse / 2) * Math.Exp(-(z - coarse) * (z + coarse) / 2);
    }

    /// <summary>exp(x²) · erfc(x) for x of 0 or more.</summary>
    private static double ScaledErrorFunctionComplement(double x)
    {
        var square = x * x;
        if (x <= 0.46875)
            return Math.Exp(square) * (1 - (x * At(square, SmallAbove) / At(square, SmallBelow)));
        if (x <= 4)
            return At(x, MiddleAbove) / At(x, MiddleBelow);
        var inverse = 1 / square;
        return (InverseRootPi - (inverse * At(inverse, LargeAbove) / At(inverse, LargeBelow))) / x;
    }

    /// <summary>A polynomial, its highest coefficient first.</summary>
    private static double At(double x, ReadOnlySpan<double> coefficients)
    {
        var sum = 0.0;
        foreach (var coefficient in coefficients)
            sum = (sum * x) + coefficient;
        return sum;
    }
}
