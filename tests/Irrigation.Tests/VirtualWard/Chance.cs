namespace Irrigation.Tests.VirtualWard;

/// <summary>Draws from the distributions that errors are published in.</summary>
internal static class Chance
{
    /// <summary>Anything between two ends, all as likely.</summary>
    public static double Within(this Random chance, double low, double high) => low + (chance.NextDouble() * (high - low));

    /// <summary>As many small ones as large ones, as flows and delays are.</summary>
    public static double WithinByFactor(this Random chance, double low, double high) => low * Math.Pow(high / low, chance.NextDouble());

    /// <summary>Round 0, with a standard deviation (Box and Muller).</summary>
    public static double Normal(this Random chance, double deviation) =>
        deviation * Math.Sqrt(-2 * Math.Log(1 - chance.NextDouble())) * Math.Cos(2 * Math.PI * chance.NextDouble());

    /// <summary>True so often.</summary>
    public static bool Happens(this Random chance, double probability) => chance.NextDouble() < probability;
}
