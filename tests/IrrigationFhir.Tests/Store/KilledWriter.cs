using System.Diagnostics;
using System.Diagnostics.CodeAnalysis;
using System.Runtime.CompilerServices;
using static IrrigationFhir.Tests.Store.StoreOnDisk;

namespace IrrigationFhir.Tests.Store;

/// <summary>
/// A process of its own that writes until it is killed: this test assembly, started again with a folder in its environment.
/// </summary>
internal static class KilledWriter
{
    private const string FolderVariable = "IRRIGATION_WRITE_UNTIL_KILLED";

    /// <summary>Starts it on a folder; each line it prints is the number of an acknowledged change.</summary>
    public static Process Start(string folder)
    {
        var start = new ProcessStartInfo("dotnet", [typeof(KilledWriter).Assembly.Location])
        {
            RedirectStandardOutput = true,
            Environment = { [FolderVariable] = folder },
        };
        return Process.Start(start)!;
    }

    // The test assembly's own entry point does nothing; this runs before it. Other threads wait for a module initializer to end,
    // so it only starts a thread, which keeps the process alive because it is no background thread.
    [ModuleInitializer]
    [SuppressMessage(
        "Usage",
        "CA2255:The ModuleInitializer attribute should not be used in libraries",
        Justification = "The assembly is the program here."
    )]
    internal static void WriteWhenAsked()
    {
        if (Environment.GetEnvironmentVariable(FolderVariable) is { Length: > 0 } folder)
            new Thread(() => Write(folder).GetAwaiter().GetResult()).Start();
    }

    private static async Task Write(string folder)
    {
        var store = Reopen(folder);
        await store.OpenEpisode("night");
        for (var n = 1; ; n++)
        {
            await store.Save(
                "night",
                [Entry(n, $"e{n}")],
                Drainage($"d{n}", "2026-03-02T08:50:00Z", null, n),
                Drainage("total", "2026-03-02T08:50:00Z", null, n)
            );
            Console.WriteLine(n);
        }
    }
}
