using System.Runtime.InteropServices;
using NodaTime;

namespace Irrigation.Measures;

/// <summary>
/// A quantity as a value and its errors: the signed contribution in mL of each independent source, one standard deviation long.
/// </summary>
/// <remarks>Belongs to one <see cref="JointEstimate"/>; its errors stand in the order of the sources there.</remarks>
internal sealed class LinearForm(JointEstimate joint)
{
    private double[] errors = new double[joint.Room];
    private List<(ErrorSource Source, double Contribution)>? own;

    /// <summary>In mL.</summary>
    public double Value { get; private set; }

    /// <summary>By the place of the source in the estimate; what lies beyond the end is 0.</summary>
    public ReadOnlySpan<double> Errors => errors;

    /// <summary>Errors that no observation shares: none of them tells anything of these.</summary>
    public ReadOnlySpan<(ErrorSource Source, double Contribution)> Own => CollectionsMarshal.AsSpan(own);

    /// <summary>With a value added.</summary>
    public LinearForm Add(double value)
    {
        Value += value;
        return this;
    }

    /// <summary>With so many times a measured quantity added.</summary>
    public LinearForm Add(Measured measured, double factor = 1)
    {
        Value += (double)measured.Best.Millilitres * factor;
        foreach (var (source, contribution) in measured.Errors.All)
        {
            Doubt(source.What, source.Of, source.Id, contribution * factor, source.At);
        }

        return this;
    }

    /// <summary>With a doubt added.</summary>
    public LinearForm Doubt(string what, string of, string id, double contribution, Instant at = default)
    {
        if (contribution == 0)
            return this;
        if (joint.Place(what, of, id, at) is not (>= 0 and var place))
        {
            DoubtOwn(what, of, id, contribution, at);
            return this;
        }

        if (place >= errors.Length)
            Array.Resize(ref errors, place + 8);
        errors[place] += contribution;
        return this;
    }

    private void DoubtOwn(string what, string of, string id, double contribution, Instant at)
    {
        own ??= new(4);
        for (var i = 0; i < own.Count; i++)
        {
            if (!own[i].Source.Is(what, of, id, at))
                continue;
            own[i] = (own[i].Source, own[i].Contribution + contribution);
            return;
        }

        own.Add((new(what, of, id, at), contribution));
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
/// <para>First all observations, then questions: a question changes nothing, so that several may ask at once and in any order.</para>
/// </remarks>
internal sealed class JointEstimate
{
    /// <summary>An observation whose errors are shorter than this (mL) says nothing that is not said already.</summary>
    private const double Nothing = 1e-6;

    /// <summary>So many errors find room on the stack.</summary>
    private const int Few = 128;

    private readonly List<ErrorSource> sources = new(16);
    private readonly List<(double Value, double[] Errors, double Squares)> directions = [];
    private bool complete;

    /// <summary>How many there may be in the form that is made next.</summary>
    public int Room => complete ? sources.Count : sources.Count + 8;

    /// <summary>The place of a source; below 0 where no observation shares it.</summary>
    public int Place(string what, string of, string id, Instant at)
    {
        for (var i = 0; i < sources.Count; i++)
        {
            if (sources[i].Is(what, of, id, at))
                return i;
        }

        if (complete)
            return -1;
        sources.Add(new(what, of, id, at));
        return sources.Count - 1;
    }

    /// <summary>Takes an observation: a quantity that must be 0. It is freed of what those before it say.</summary>
    public void Observe(LinearForm difference)
    {
        var (value, errors) = (difference.Value, new double[sources.Count]);
        Put(difference, errors);
        foreach (var direction in directions)
            value = Without(value, errors, direction);
        var squares = Dot(errors, errors);
        if (squares > Nothing)
            directions.Add((value, errors, squares));
    }

    /// <summary>No more observations: from now on it answers.</summary>
    public void Complete() => complete = true;

    /// <summary>How many standard deviations a quantity lies from 0 by what was known without any observation.</summary>
    public static double Surprise(LinearForm difference)
    {
        var squares = Dot(difference.Errors, difference.Errors);
        return squares <= Nothing * Nothing ? 0 : Math.Abs(difference.Value) / Math.Sqrt(squares);
    }

    /// <summary>The best estimate of a quantity by all observations, with its errors.</summary>
    public (double Value, ErrorBudget Errors) Given(LinearForm quantity)
    {
        var value = quantity.Value;
        // Nobody keeps them: what is left of them goes into the budget.
        var errors = sources.Count <= Few ? stackalloc double[sources.Count] : new double[sources.Count];
        Put(quantity, errors);
        foreach (var direction in directions)
            value = Without(value, errors, direction);
        var count = 0;
        foreach (var error in errors)
            count += Math.Abs(error) > Nothing ? 1 : 0;
        foreach (var (_, error) in quantity.Own)
            count += Math.Abs(error) > Nothing ? 1 : 0;
        var left = new (ErrorSource, double)[count];
        for (var i = errors.Length - 1; i >= 0; i--)
        {
            if (Math.Abs(errors[i]) > Nothing)
                left[--count] = (sources[i], errors[i]);
        }

        foreach (var (source, error) in quantity.Own)
        {
            if (Math.Abs(error) > Nothing)
                left[--count] = (source, error);
        }

        return (value, ErrorBudget.Owning(left));
    }

    private static void Put(LinearForm form, Span<double> errors)
    {
        errors.Clear();
        form.Errors[..Math.Min(errors.Length, form.Errors.Length)].CopyTo(errors);
    }

    private static double Without(double value, Span<double> errors, (double Value, double[] Errors, double Squares) direction)
    {
        var along = Dot(errors, direction.Errors) / direction.Squares;
        if (along == 0)
            return value;
        for (var i = 0; i < direction.Errors.Length; i++)
            errors[i] -= along * direction.Errors[i];
        return value - (along * direction.Value);
    }

    private static double Dot(ReadOnlySpan<double> left, ReadOnlySpan<double> right)
    {
        var sum = 0.0;
        for (var i = 0; i < Math.Min(left.Length, right.Length); i++)
            sum += left[i] * right[i];
        return sum;
    }
}
