using System.Runtime.InteropServices;

namespace IrrigationFhir.Benchmarks;

/// <summary>What the figures were measured on. No names, no paths.</summary>
internal static class Machine
{
    private const string ProcessorFile = "/proc/cpuinfo";

    /// <summary>Cores, memory, processor, system and runtime, in one line.</summary>
    public static string Describe()
    {
        var gibibytes = GC.GetGCMemoryInfo().TotalAvailableMemoryBytes / (1 << 30);
        var system = $"{Processor()}, {RuntimeInformation.OSArchitecture}, .NET {Environment.Version}";
        return $"{Environment.ProcessorCount} cores, {gibibytes} GiB, {system}";
    }

    /// <summary>How many threads wanted to run in the last minute, in the mean; a question mark where the system does not say.</summary>
    public static string Busy() => File.Exists("/proc/loadavg") ? File.ReadAllText("/proc/loadavg").Split(' ')[0] : "?";

    private static string Processor() =>
        File.Exists(ProcessorFile)
        && File.ReadLines(ProcessorFile).FirstOrDefault(line => line.StartsWith("model name", StringComparison.Ordinal)) is { } line
            ? line[(line.IndexOf(':', StringComparison.Ordinal) + 1)..].Trim()
            : "unknown processor";
}
