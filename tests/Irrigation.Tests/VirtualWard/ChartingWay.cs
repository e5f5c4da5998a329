namespace Irrigation.Tests.VirtualWard;

/// <summary>How a ward measures and charts.</summary>
/// <param name="Name">In the report.</param>
/// <param name="Weighed">The drainage is weighed; else read off the container's marks.</param>
/// <param name="TimesOff">Charted times are off by 3 min (standard deviation); else exact.</param>
internal sealed record ChartingWay(string Name, bool Weighed, bool TimesOff)
{
    /// <summary>Minutes between two readings of the drainage; null for 1 to 4 h, never the same.</summary>
    public int? Every { get; init; }

    /// <summary>Which part of the readings is left out.</summary>
    public double Missed { get; init; }

    /// <summary>Charted later than it happened.</summary>
    public bool Late { get; init; }

    /// <summary>What is left in the bag is read off its marks each hour.</summary>
    public bool BagMarks { get; init; }

    /// <summary>The drainage is read by a device, which says so with each reading: nobody charts a minute.</summary>
    public bool ByDevice { get; init; }

    /// <summary>Weighed or read off marks, with exact or approximate times: what the service is held to.</summary>
    public static IReadOnlyList<ChartingWay> Main { get; } =
    [
        new("weighed by a device", true, false) { ByDevice = true },
        new("weighed, exact", true, false),
        new("weighed, ±3 min", true, true),
        new("marks, exact", false, false),
        new("marks, ±3 min", false, true),
    ];

    /// <summary>The drainage looked at each hour, as teaching texts ask for.</summary>
    public static IReadOnlyList<ChartingWay> Hourly { get; } =
    [new("hourly, weighed", true, true) { Every = 60 }, new("hourly, marks", false, true) { Every = 60 }];

    /// <summary>The main ways whose times are approximate, as a ward's are.</summary>
    public static IReadOnlyList<ChartingWay> AsOnWards { get; } = [.. Main.Where(way => way.TimesOff)];

    /// <summary>The same with more or less on the chart.</summary>
    public static IReadOnlyList<ChartingWay> Others { get; } =
    [
        new("weighed, bag marks too", true, true) { BagMarks = true },
        new("marks, bag marks too", false, true) { BagMarks = true },
        new("weighed, charted late", true, true) { Late = true },
        new("marks, one in five missed", false, true) { Missed = 0.2 },
    ];

    /// <inheritdoc/>
    public override string ToString() => Name;
}
