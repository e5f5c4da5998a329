using System.ComponentModel;
using System.Diagnostics;
using System.Net;
using System.Net.Sockets;

namespace IrrigationFhir.Demo;

/// <summary>The example subscriber of <c>fhir-examples/subscriber</c> as a process of its own, and what it says.</summary>
internal sealed class ExampleSubscriber : IDisposable
{
    private const string Script = "fhir-examples/subscriber/subscriber.cs";

    /// <summary>
    /// It is compiled before it first runs, which takes minutes on a machine that does much else; one that fails ends sooner.
    /// </summary>
    private static readonly TimeSpan Patience = TimeSpan.FromMinutes(4);

    private readonly Process process;
    private readonly List<string> said = [];

    private ExampleSubscriber(Process process) => this.process = process;

    /// <summary>What it said so far, line by line.</summary>
    public IReadOnlyList<string> Said
    {
        get
        {
            lock (said)
                return [.. said];
        }
    }

    /// <summary>
    /// Starts it, and waits for its first word; null where its source or the SDK that runs it is not at hand, or it says nothing.
    /// </summary>
    /// <param name="fhir">The address of the FHIR base.</param>
    /// <param name="memory">The file that it remembers in; null for the one beside its source.</param>
    /// <param name="source">Its source; null to look for it here and in the folders above.</param>
    public static async Task<ExampleSubscriber?> Start(string fhir, string? memory, string? source = null)
    {
        if ((source ?? Find(Environment.CurrentDirectory)) is not { } script)
            return null;
        string[] remembers = memory is null ? [] : [memory];
        string[] arguments = ["run", script, "--", fhir, $"http://127.0.0.1:{FreePort()}", .. remembers];
        var start = new ProcessStartInfo("dotnet", arguments) { RedirectStandardOutput = true, RedirectStandardError = true };
        try
        {
            var subscriber = new ExampleSubscriber(Process.Start(start)!);
            subscriber.process.OutputDataReceived += (_, line) => subscriber.Heard(line.Data);
            subscriber.process.ErrorDataReceived += (_, _) => { };
            subscriber.process.BeginOutputReadLine();
            subscriber.process.BeginErrorReadLine();
            for (var since = Stopwatch.StartNew(); since.Elapsed < Patience && !subscriber.process.HasExited; await Task.Delay(50))
            {
                if (subscriber.Said.Count > 0)
                    return subscriber;
            }

            subscriber.Dispose();
            return null;
        }
        catch (Win32Exception)
        {
            return null; // there is no SDK here
        }
    }

    /// <inheritdoc/>
    public void Dispose()
    {
        if (!process.HasExited)
            process.Kill(entireProcessTree: true);
        process.Dispose();
    }

    private void Heard(string? line)
    {
        if (line is null)
            return;
        lock (said)
            said.Add(line);
    }

    private static string? Find(string folder)
    {
        var script = Path.Combine(folder, Script);
        return File.Exists(script) ? script
            : Directory.GetParent(folder) is { } above ? Find(above.FullName)
            : null;
    }

    private static int FreePort()
    {
        using var listener = new TcpListener(IPAddress.Loopback, 0);
        listener.Start();
        return ((IPEndPoint)listener.LocalEndpoint).Port;
    }
}
