using NodaTime;

namespace Irrigation.Measures;

/// <summary>A source of error: what it is, and of what. Equal sources are one and the same error.</summary>
/// <param name="What">What is in doubt, e.g. <c>reading</c>, <c>scale of container</c>.</param>
/// <param name="Of">The container, bag type, device or sender's source that it belongs to; empty for none.</param>
/// <param name="Id">The sender's id of an entry; empty for what is shared by several.</param>
/// <param name="At">The moment, for a doubt about a time.</param>
/// <remarks>A value and no text: budgets are made for every reading, and hardly one of them is ever shown.</remarks>
public sealed record ErrorSource(string What, string Of = "", string Id = "", Instant At = default)
{
    /// <summary>A source that needs no more than its name.</summary>
    public static implicit operator ErrorSource(string what) => new(what);

    /// <summary>Whether it is the source of these parts.</summary>
    internal bool Is(string what, string of, string id, Instant at) => At == at && Id == id && Of == of && What == what;

    /// <inheritdoc/>
    public bool Equals(ErrorSource? other) =>
        ReferenceEquals(this, other) || (other is not null && Is(other.What, other.Of, other.Id, other.At));

    /// <summary>By what tells sources apart soonest: their entry and their moment.</summary>
    public override int GetHashCode() => HashCode.Combine(At, Id, Of.Length, What.Length);

    /// <summary>For people, e.g. <c>reading ward-7/4711</c>.</summary>
    public override string ToString() =>
        string.Concat(What, Of.Length > 0 ? " " : "", Of, Id.Length > 0 ? "/" : "", Id, At == default ? "" : $" {At}");
}

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
    /// <summary>Up to so many sources they are found faster by looking at each of them than by a hash.</summary>
    private const int Few = 16;

    private readonly (ErrorSource Source, double Contribution)[] contributions;

    private ErrorBudget((ErrorSource, double)[] contributions) => this.contributions = contributions;

    /// <summary>No doubt.</summary>
    public static ErrorBudget None { get; } = new([]);

    /// <summary>
    /// The combined standard uncertainty: the root of the sum of squares over the sources, to a millionth of a mL, so that the order
    /// of summation never shows.
    /// </summary>
    public Volume StandardUncertainty
    {
        get
        {
            var squares = 0.0;
            foreach (var (_, contribution) in contributions)
                squares += contribution * contribution;
            return Volume.FromMillilitres((decimal)Math.Round(Math.Sqrt(squares), 6));
        }
    }

    /// <summary>The sources and their signed contributions in mL.</summary>
    public IReadOnlyDictionary<ErrorSource, double> Contributions => contributions.ToDictionary(c => c.Source, c => c.Contribution);

    /// <summary>The same, without a dictionary.</summary>
    internal ReadOnlySpan<(ErrorSource Source, double Contribution)> All => contributions;

    /// <summary>Several sources, each once. The array is its own from now on.</summary>
    internal static ErrorBudget Owning((ErrorSource, double)[] sources) => sources.Length == 0 ? None : new(sources);

    /// <summary>One source.</summary>
    public static ErrorBudget Of(ErrorSource source, decimal contribution) =>
        contribution == 0 ? None : new([(source, (double)contribution)]);

    /// <summary>Several, of which no two are the same source.</summary>
    internal static ErrorBudget OfDifferent(params ReadOnlySpan<(ErrorSource Source, decimal Contribution)> sources)
    {
        var count = 0;
        foreach (var (_, contribution) in sources)
            count += contribution == 0 ? 0 : 1;
        if (count == 0)
            return None;
        var kept = new (ErrorSource, double)[count];
        foreach (var (source, contribution) in sources)
        {
            if (contribution != 0)
                kept[^count--] = (source, (double)contribution);
        }

        return new(kept);
    }

    /// <summary>The standard deviation of a quantity known to lie within ± the half width and no more (JCGM 100:2008, 4.3.7).</summary>
    public static decimal Rectangular(decimal halfWidth) => halfWidth * 0.5773502691896257645091487805m;

    /// <summary>Several budgets, each times a factor, added up source by source.</summary>
    public static ErrorBudget Sum(params ReadOnlySpan<(ErrorBudget Budget, double Factor)> terms)
    {
        var most = 0;
        foreach (var (budget, factor) in terms)
            most += factor == 0 ? 0 : budget.contributions.Length;
        if (most == 0)
            return None;

        var sum = new (ErrorSource Source, double Contribution)[most];
        var places = most > Few ? new Dictionary<ErrorSource, int>(most) : null;
        var count = 0;
        foreach (var (budget, factor) in terms)
        {
            if (factor == 0)
                continue;
            foreach (var (source, contribution) in budget.contributions)
            {
                var place = places is null ? Place(sum.AsSpan(0, count), source) : places.GetValueOrDefault(source, -1);
                if (place < 0)
                {
                    place = count++;
                    places?.Add(source, place);
                    sum[place].Source = source;
                }

                sum[place].Contribution += contribution * factor;
            }
        }

        return new(count == most ? sum : sum[..count]);
    }

    /// <summary>The sum of two.</summary>
    public static ErrorBudget operator +(ErrorBudget left, ErrorBudget right) =>
        left.contributions.Length == 0 ? right
        : right.contributions.Length == 0 ? left
        : Sum((left, 1), (right, 1));

    /// <summary>The difference of two.</summary>
    public static ErrorBudget operator -(ErrorBudget left, ErrorBudget right) =>
        right.contributions.Length == 0 ? left : Sum((left, 1), (right, -1));

    /// <summary>A multiple.</summary>
    public static ErrorBudget operator *(ErrorBudget budget, double factor) => factor == 1 ? budget : Sum((budget, factor));

    private static int Place(ReadOnlySpan<(ErrorSource Source, double Contribution)> sum, ErrorSource source)
    {
        for (var i = 0; i < sum.Length; i++)
        {
            if (sum[i].Source == source)
                return i;
        }

        return -1;
    }
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
    public Measured Doubting(ErrorSource source, decimal contribution) =>
        this with
        {
            Errors = Errors + ErrorBudget.Of(source, contribution),
        };

    /// <summary>The sum.</summary>
    public static Measured operator +(Measured left, Measured right) =>
        new(left.Charted + right.Charted, left.Best + right.Best, left.Errors + right.Errors);

    /// <summary>The difference.</summary>
    public static Measured operator -(Measured left, Measured right) =>
        new(left.Charted - right.Charted, left.Best - right.Best, left.Errors - right.Errors);
}
