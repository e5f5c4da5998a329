using System.ComponentModel;
using Irrigation;
using NodaTime;

namespace IrrigationFhir.Record;

/// <summary>Settings of the entries API.</summary>
internal sealed record EntrySettings
{
    /// <summary>The defaults.</summary>
    public static EntrySettings Default { get; } = new();

    /// <summary>How far ahead of the service's clock an entry's time may lie.</summary>
    [Description(
        "How far ahead of the service's clock an entry's time may lie. Default 5 min, for clocks that are a little off; our judgement."
    )]
    [Setting(0, 1440, "min")]
    public Duration FutureTolerance { get; init; } = Duration.FromMinutes(5);

    /// <summary>At most so many entries in a request.</summary>
    [Description(
        "At most so many entries in a request. Default 2,000: they are stored in one transaction with all that follows from them, "
            + "some eight resources each, which takes half a minute and holds a gigabyte meanwhile (measured on two cores)."
    )]
    [Setting(1, 1_000_000)]
    public int Most { get; init; } = 2_000;
}
