using System.Diagnostics;

namespace IrrigationFhir.Benchmarks;

/// <summary>Measured times, and the table cells made of them.</summary>
internal sealed class Samples
{
    private readonly List<TimeSpan> taken = [];

    /// <summary>How many.</summary>
    public int Count => taken.Count;

    /// <summary>Half of them took at most so long.</summary>
    public TimeSpan Median => At(0.5);

    /// <summary>95 of 100 took at most so long.</summary>
    public TimeSpan P95 => At(0.95);

    /// <summary>What took longest.</summary>
    public TimeSpan Longest => At(1);

    /// <summary>Notes the time since a <see cref="Stopwatch.GetTimestamp"/>.</summary>
    public void Since(long started) => taken.Add(Stopwatch.GetElapsedTime(started));

    /// <summary>Takes over another's.</summary>
    public void Add(Samples others) => taken.AddRange(others.taken);

    /// <summary>A time with three digits, in µs, ms or s.</summary>
    public static string Shown(TimeSpan time) =>
        time.TotalMicroseconds switch
        {
            < 1000 => $"{time.TotalMicroseconds:0} µs",
            < 10_000 => $"{time.TotalMilliseconds:0.0} ms",
            < 1_000_000 => $"{time.TotalMilliseconds:0} ms",
            _ => $"{time.TotalSeconds:0.0} s",
        };

    private TimeSpan At(double share)
    {
        if (taken.Count == 0)
            throw new InvalidOperationException("nothing was measured");
        var sorted = taken.Order().ToList();
        return sorted[(int)Math.Ceiling(share * sorted.Count) - 1];
    }
}
