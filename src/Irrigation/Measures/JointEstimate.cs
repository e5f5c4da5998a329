using System.Runtime.InteropServices;

namespace Irrigation.Measures;

/// <summary>A quantity as a value and its errors: the signed contribution in mL of each independent source, one standard deviation long.</summary>
internal sealed class LinearForm
{
    /// <summary>In mL.</summary>
    public double Value { get; private set; }

    /// <summary>By the place of the source in its <see cref="JointEstimate"/>; a source may stand there more than once.</summary>
    public List<(int Source, double Contribution)> Errors { get; } = new(8);

    /// <summary>With so many times another added.</summary>
    public LinearForm Add(LinearForm other, double factor = 1)
    {
        Value += other.Value * factor;
        foreach (var (source, contribution) in other.Errors) Errors.Add((source, contribution * factor));
        return this;
    }

    /// <summary>With a value added.</summary>
    public LinearForm Add(double value)
    {
        Value += value;
        return this;
    }

    /// <summary>With a doubt added.</summary>
    public LinearForm Doubt(int source, double contribution)
    {
        if (contribution != 0) Errors.Add((source, contribution));
        return this;
    }
}

/// <summary>Several kinds of evidence of the same quantities, weighted by their uncertainties: generalised least squares.</summary>
/// <remarks>
/// <para>JCGM 102:2011 and JCGM 100:2008, 5.2 (correlated input quantities). All errors are sums of independent sources, so a source
/// that several readings share is one error and not several. An observation is a quantity that must be 0 (what the bag held, less what
/// was left, less what ran); each takes its own direction out of the errors of all others. What remains are errors of the very same
/// sources, so that estimates of two bags, or of one bag and the drainage, still know what they have in common.</para>
/// <para>The best linear unbiased estimate: another observation never makes it more uncertain, and the order of observations does not
/// matter but for rounding.</para>
/// </remarks>
internal sealed class JointEstimate
{
    /// <summary>An observation whose errors are shorter than this (mL) says nothing that is not said already.</summary>
    private const double Nothing = 1e-6;

    private readonly List<ErrorSource> sources = [];
    private readonly List<LinearForm> observations = [];
    private List<(double Value, double[] Errors, double Squares)>? directions;

    /// <summary>The place of a source.</summary>
    public int Source(ErrorSource source)
    {
        var place = sources.IndexOf(source);
        if (place >= 0) return place;
        sources.Add(source);
        return sources.Count - 1;
    }

    /// <summary>What is measured with its doubts, in the terms of this estimate.</summary>
    public LinearForm Form(Measured measured)
    {
        var form = new LinearForm().Add((double)measured.Best.Millilitres);
        foreach (var (source, contribution) in measured.Errors.All) form.Doubt(Source(source), contribution);
        return form;
    }

    /// <summary>Takes an observation: a quantity that must be 0.</summary>
    public void Observe(LinearForm difference)
    {
        observations.Add(difference);
        directions = null;
    }

    /// <summary>How many standard deviations the observation lies from 0 by what was known without any.</summary>
    public double Surprise(LinearForm difference)
    {
        var errors = Dense(difference);
        var squares = Dot(errors, errors);
        return squares <= Nothing * Nothing ? 0 : Math.Abs(difference.Value) / Math.Sqrt(squares);
    }

    /// <summary>The best estimate of a quantity by all observations, with its errors.</summary>
    public (double Value, ErrorBudget Errors) Given(LinearForm quantity)
    {
        var (value, errors) = (quantity.Value, Dense(quantity));
        foreach (var direction in Directions()) value = Without(value, errors, direction);
        var left = new List<(ErrorSource, double)>(errors.Length);
        for (var i = 0; i < errors.Length; i++)
        {
            if (Math.Abs(errors[i]) > Nothing) left.Add((sources[i], errors[i]));
        }

        return (value, ErrorBudget.Of(CollectionsMarshal.AsSpan(left)));
    }

    /// <summary>The observations, each freed of what those before it say.</summary>
    private List<(double Value, double[] Errors, double Squares)> Directions()
    {
        if (directions is { } known && (known.Count == 0 || known[0].Errors.Length == sources.Count)) return known;
        directions = new(observations.Count);
        foreach (var observation in observations)
        {
            var (value, errors) = (observation.Value, Dense(observation));
            foreach (var direction in directions) value = Without(value, errors, direction);
            var squares = Dot(errors, errors);
            if (squares > Nothing) directions.Add((value, errors, squares));
        }

        return directions;
    }

    private static double Without(double value, double[] errors, (double Value, double[] Errors, double Squares) direction)
    {
        var along = Dot(errors, direction.Errors) / direction.Squares;
        if (along == 0) return value;
        for (var i = 0; i < errors.Length; i++) errors[i] -= along * direction.Errors[i];
        return value - (along * direction.Value);
    }

    private double[] Dense(LinearForm form)
    {
        var dense = new double[sources.Count];
        foreach (var (source, contribution) in form.Errors) dense[source] += contribution;
        return dense;
    }

    private static double Dot(double[] left, double[] right)
    {
        var sum = 0.0;
        for (var i = 0; i < left.Length; i++) sum += left[i] * right[i];
        return sum;
    }
}
