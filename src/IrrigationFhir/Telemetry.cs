using System.Diagnostics;

namespace IrrigationFhir;

/// <summary>What a trace shows of the service's own work. Names of steps and nothing else: no id, no value, nobody's name.</summary>
internal static class Telemetry
{
    /// <summary>The name of our source of spans and of our meter, which a collector knows us by.</summary>
    public const string Name = "IrrigationFhir";

    /// <summary>Our spans.</summary>
    public static ActivitySource Source { get; } = new(Name);
}

/// <summary>The steps of one piece of work, one after another: each a span, which ends where the next begins.</summary>
internal sealed class Steps : IDisposable
{
    private Activity? step;

    private readonly bool told = true;

    private Steps(string first) => step = Telemetry.Source.StartActivity(first);

    private Steps() => told = false;

    /// <summary>Work that no trace shows: it is nobody's.</summary>
    public static Steps Untold { get; } = new();

    /// <summary>The first step begins.</summary>
    public static Steps From(string first) => new(first);

    /// <summary>The next step begins.</summary>
    public void Next(string name)
    {
        step?.Dispose();
        step = told ? Telemetry.Source.StartActivity(name) : null;
    }

    /// <summary>The last step ends.</summary>
    public void Dispose() => step?.Dispose();
}
