using NodaTime;

namespace IrrigationFhir.Entries;

/// <summary>Settings of the entries API.</summary>
internal sealed record EntrySettings
{
    /// <summary>How far ahead of the service's clock an entry's time may lie. Default 5 min, for clocks that are a little off; our judgement.</summary>
    public Duration FutureTolerance { get; init; } = Duration.FromMinutes(5);

    /// <summary>At most so many entries in a request. Default 10,000.</summary>
    public int MostEntries { get; init; } = 10_000;

    /// <summary>Reads <c>Entries:FutureToleranceMinutes</c> and <c>Entries:Most</c>.</summary>
    public static EntrySettings Read(IConfiguration configuration) => new()
    {
        FutureTolerance = Duration.FromMinutes(configuration.GetValue("Entries:FutureToleranceMinutes", 5.0)),
        MostEntries = configuration.GetValue("Entries:Most", 10_000),
    };
}
