using System.Diagnostics;
using System.Diagnostics.Metrics;
using Prometheus;

namespace IrrigationFhir.Health;

/// <summary>One figure, with the values that it has in a reading.</summary>
/// <param name="Name">Its name in OpenTelemetry, such as <c>irrigationfhir.resources.withheld</c>; Prometheus has underscores.</param>
/// <param name="Unit">Its unit in UCUM, or what is counted in braces.</param>
/// <param name="Help">What it says, in a sentence.</param>
/// <param name="Label">What tells its values apart; null where there is one.</param>
/// <param name="Values">The values, each with its label.</param>
internal sealed record Figure<T>(
    string Name,
    string Unit,
    string Help,
    string? Label,
    Func<T, IEnumerable<(string Label, double Value)>> Values
)
{
    /// <summary>A figure of one value.</summary>
    public Figure(string name, string unit, string help, Func<T, double> value)
        : this(name, unit, help, null, read => [("", value(read))]) { }
}

/// <summary>Counts what happens, at <c>/metrics</c> and on the meter alike.</summary>
internal sealed class CountedFigure(Prometheus.Counter prometheus, Counter<long> meter, string label)
{
    /// <summary>It happened once more.</summary>
    /// <param name="value">The value of its label: one of those that it was defined with.</param>
    public void Add(string value)
    {
        prometheus.WithLabels(value).Inc();
        meter.Add(1, new KeyValuePair<string, object?>(label, value));
    }
}

/// <summary>What whoever operates the service reads: each figure is defined once.</summary>
/// <remarks>At <c>/metrics</c> for Prometheus, and on a <see cref="Meter"/> for OpenTelemetry.</remarks>
internal sealed class Figures(CollectorRegistry registry, IMeterFactory meters)
{
    /// <summary>For how long a reading serves: the figures of one collection come from one.</summary>
    private static readonly TimeSpan Fresh = TimeSpan.FromSeconds(1);

    private readonly Meter meter = meters.Create(Telemetry.Name);
    private readonly MetricFactory prometheus = Metrics.WithCustomRegistry(registry);

    /// <summary>Something that is counted from the start of the process.</summary>
    /// <param name="name">Its name in OpenTelemetry.</param>
    /// <param name="unit">What is counted, in braces.</param>
    /// <param name="help">What it says.</param>
    /// <param name="label">What tells its values apart.</param>
    /// <param name="values">The values of the label, which are there from the start.</param>
    public CountedFigure Counted(string name, string unit, string help, string label, params string[] values)
    {
        var counter = prometheus.CreateCounter($"{Underscored(name)}_total", help, label);
        foreach (var value in values)
            counter.WithLabels(value);
        return new(counter, meter.CreateCounter<long>(name, unit, help), label);
    }

    /// <summary>Figures that are read where they stand, when somebody asks.</summary>
    /// <param name="read">Reads them; null while they are not known.</param>
    /// <param name="figures">The figures that are taken from a reading.</param>
    public void Read<T>(Func<CancellationToken, Task<T?>> read, params Figure<T>[] figures)
        where T : class
    {
        var gauges = figures.Select(Gauge).ToList();
        registry.AddBeforeCollectCallback(async stop =>
        {
            if (await read(stop) is not { } now)
                return;
            foreach (var (figure, gauge) in figures.Zip(gauges))
            {
                foreach (var (label, value) in figure.Values(now))
                {
                    if (figure.Label is null)
                        gauge.Set(value);
                    else
                        gauge.WithLabels(label).Set(value);
                }
            }
        });

        var latest = new Latest<T>(read);
        foreach (var figure in figures)
            meter.CreateObservableGauge(figure.Name, () => Measured(figure, latest.Value()), figure.Unit, figure.Help);
    }

    private Gauge Gauge<T>(Figure<T> figure) =>
        prometheus.CreateGauge(
            Underscored(figure.Name) + (figure.Unit == "s" ? "_seconds" : ""),
            figure.Help,
            figure.Label is { } label ? [label] : Array.Empty<string>()
        );

    private static IEnumerable<Measurement<double>> Measured<T>(Figure<T> figure, T? now)
        where T : class =>
        now is null
            ? []
            : figure
                .Values(now)
                .Select(v =>
                    figure.Label is { } label
                        ? new Measurement<double>(v.Value, new KeyValuePair<string, object?>(label, v.Label))
                        : new Measurement<double>(v.Value)
                );

    private static string Underscored(string name) => name.Replace('.', '_');

    /// <summary>The latest reading, not older than <see cref="Fresh"/>.</summary>
    /// <remarks>Who asks waits for it: a meter can only be read at once, and is collected by a thread of the exporter's own.</remarks>
    private sealed class Latest<T>(Func<CancellationToken, Task<T?>> read)
        where T : class
    {
        private readonly Lock gate = new();
        private long at;
        private T? latest;

        public T? Value()
        {
            lock (gate)
            {
                if (at != 0 && Stopwatch.GetElapsedTime(at) < Fresh)
                    return latest;
                latest = Task.Run(() => read(CancellationToken.None)).GetAwaiter().GetResult();
                at = Stopwatch.GetTimestamp();
                return latest;
            }
        }
    }
}
