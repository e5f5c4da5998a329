namespace Irrigation.Tests.VirtualWard;

/// <summary>Fills a ward: so many beds of each flow band, half of them titrated, the same draw each time.</summary>
internal static class VirtualWards
{
    private const int Seed = 20260314;

    /// <summary>Beds per flow band and way; more of them by the environment variable <c>VIRTUAL_WARD_BEDS</c>.</summary>
    public static int PerBand { get; } = int.TryParse(Environment.GetEnvironmentVariable("VIRTUAL_WARD_BEDS"), out var beds) ? beds : 100;

    /// <summary>Charted beds, each worked on by itself.</summary>
    /// <param name="ways">How they are charted.</param>
    /// <param name="perBand">How many of each way and band.</param>
    /// <param name="plan">What lies in a bed of a band.</param>
    /// <param name="worked">What is asked of it.</param>
    public static T[] Of<T>(
        IEnumerable<ChartingWay> ways,
        int perBand,
        Func<FlowBand, bool, BedPlan> plan,
        Func<ChartedBed, Random, T> worked
    )
    {
        var seeds = new Random(Seed);
        var places =
            from way in ways
            from band in FlowBand.All
            from bed in Enumerable.Range(0, perBand)
            select (way, plan: plan(band, bed % 2 == 0), seed: seeds.Next());
        return
        [
            .. places
                .ToArray()
                .AsParallel()
                .AsOrdered()
                .Select(place =>
                {
                    var chance = new Random(place.seed);
                    return worked(new(new(place.plan, chance), place.way, chance), chance);
                }),
        ];
    }
}
