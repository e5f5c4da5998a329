using System.Collections.Immutable;

namespace Irrigation.Measures;

/// <summary>
/// What the uncertainty of a volume is made of: for each source of error its signed contribution in mL, one standard deviation of
/// that source long. Sources are independent of one another; what comes from the same source adds linearly, with its sign.
/// </summary>
/// <remarks>
/// JCGM 100:2008, 5.1.2 for independent sources and 5.2.2 for fully correlated ones (r = 1 within a source). So the overfill of one
/// bag type adds up over bags, a level reading cancels between the interval that it closes and the one that it opens, and a scale
/// that weighed both sides nearly cancels. Immutable; the default is no doubt at all.
/// </remarks>
public sealed class ErrorBudget
{
    private readonly ImmutableDictionary<string, double> contributions;

    private ErrorBudget(ImmutableDictionary<string, double> contributions) => this.contributions = contributions;

    /// <summary>No doubt.</summary>
    public static ErrorBudget None { get; } = new(ImmutableDictionary<string, double>.Empty);

    /// <summary>
    /// The combined standard uncertainty: the root of the sum of squares over the sources, to a millionth of a mL, so that the order
    /// of summation never shows.
    /// </summary>
    public Volume StandardUncertainty => Volume.FromMillilitres((decimal)Math.Round(Math.Sqrt(contributions.Values.Sum(c => c * c)), 6));

    /// <summary>The sources and their signed contributions in mL, by the sources' names.</summary>
    public IReadOnlyDictionary<string, double> Contributions => contributions;

    /// <summary>One source.</summary>
    public static ErrorBudget Of(string source, decimal contribution) =>
        contribution == 0 ? None : new(ImmutableDictionary<string, double>.Empty.Add(source, (double)contribution));

    /// <summary>The standard deviation of a quantity known to lie within ± the half width and no more (JCGM 100:2008, 4.3.7).</summary>
    public static decimal Rectangular(decimal halfWidth) => halfWidth / 1.7320508075688772935274463415m;

    /// <summary>Several budgets, each times a factor, added up source by source.</summary>
    public static ErrorBudget Sum(IEnumerable<(ErrorBudget Budget, double Factor)> terms)
    {
        ImmutableDictionary<string, double>.Builder? sum = null;
        foreach (var (budget, factor) in terms)
        {
            if (budget.contributions.IsEmpty || factor == 0) continue;
            sum ??= ImmutableDictionary.CreateBuilder<string, double>();
            foreach (var (source, contribution) in budget.contributions)
            {
                sum[source] = (sum.TryGetValue(source, out var so) ? so : 0) + (contribution * factor);
            }
        }

        return sum is null ? None : new(sum.ToImmutable());
    }

    /// <summary>The sum of two.</summary>
    public static ErrorBudget operator +(ErrorBudget left, ErrorBudget right) =>
        left.contributions.IsEmpty ? right : right.contributions.IsEmpty ? left : Sum([(left, 1), (right, 1)]);

    /// <summary>The difference of two.</summary>
    public static ErrorBudget operator -(ErrorBudget left, ErrorBudget right) => right.contributions.IsEmpty ? left : Sum([(left, 1), (right, -1)]);

    /// <summary>A multiple.</summary>
    public static ErrorBudget operator *(ErrorBudget budget, double factor) => factor == 1 ? budget : Sum([(budget, factor)]);
}

/// <summary>A volume as charted, and beside it what is most likely true, with its doubts.</summary>
/// <param name="Charted">As charted: what the trade's number is made of.</param>
/// <param name="Best">With known bias taken out.</param>
/// <param name="Errors">The doubts about <paramref name="Best"/>.</param>
public readonly record struct Measured(Volume Charted, Volume Best, ErrorBudget Errors)
{
    /// <summary>Nothing, known for certain.</summary>
    public static Measured Nothing { get; } = new(Volume.Zero, Volume.Zero, ErrorBudget.None);

    /// <summary>The best estimate with its standard uncertainty.</summary>
    public Estimate Estimate => new(Best, Errors.StandardUncertainty);

    /// <summary>With one more doubt.</summary>
    public Measured Doubting(string source, decimal contribution) => this with { Errors = Errors + ErrorBudget.Of(source, contribution) };

    /// <summary>The sum.</summary>
    public static Measured operator +(Measured left, Measured right) => new(left.Charted + right.Charted, left.Best + right.Best, left.Errors + right.Errors);

    /// <summary>The difference.</summary>
    public static Measured operator -(Measured left, Measured right) => new(left.Charted - right.Charted, left.Best - right.Best, left.Errors - right.Errors);
}
