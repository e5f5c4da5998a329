using System.Diagnostics;
using System.Net;
using System.Text;
using System.Text.RegularExpressions;

namespace IrrigationFhir.Tests;

/// <summary>The program as it is run: a process of its own. For what is settled once per process, and for what it prints.</summary>
internal sealed partial class ProgramProcess : IAsyncDisposable
{
    private static readonly TimeSpan Patience = TimeSpan.FromMinutes(2);

    private readonly Process process;
    private readonly StringBuilder said = new();

    private ProgramProcess(Process process)
    {
        this.process = process;
        process.OutputDataReceived += (_, line) => Heard(line.Data);
        process.ErrorDataReceived += (_, line) => Heard(line.Data);
        process.BeginOutputReadLine();
        process.BeginErrorReadLine();
    }

    /// <summary>Reaches the service.</summary>
    public HttpClient Http { get; } = new() { Timeout = TimeSpan.FromSeconds(60) };

    /// <summary>What it printed so far, output and errors.</summary>
    public string Said
    {
        get
        {
            lock (said)
                return said.ToString();
        }
    }

    /// <summary>Runs it to its end.</summary>
    /// <param name="folder">The working directory.</param>
    /// <param name="args">Its arguments.</param>
    public static Task<(int Code, string Output, string Errors)> Run(string folder, params string[] args) => RunCopy(Program, folder, args);

    /// <summary>Runs it to its end, with some variables in its environment.</summary>
    public static Task<(int Code, string Output, string Errors)> RunWith(
        string folder,
        (string Name, string Value)[] environment,
        string[] args
    ) => RunToEnd(Info(Program, folder, args, environment));

    /// <summary>Runs a copy of it to its end.</summary>
    /// <param name="program">The copy.</param>
    /// <param name="folder">The working directory.</param>
    /// <param name="args">Its arguments.</param>
    public static Task<(int Code, string Output, string Errors)> RunCopy(string program, string folder, params string[] args) =>
        RunToEnd(Info(program, folder, args));

    private static async Task<(int Code, string Output, string Errors)> RunToEnd(ProcessStartInfo info)
    {
        using var process = Process.Start(info)!;
        var (output, errors) = (process.StandardOutput.ReadToEndAsync(), process.StandardError.ReadToEndAsync());
        using var patience = new CancellationTokenSource(Patience);
        try
        {
            await process.WaitForExitAsync(patience.Token);
        }
        catch (OperationCanceledException)
        {
            process.Kill();
        }

        return (process.ExitCode, await output, await errors);
    }

    /// <summary>Begins it and waits for nothing; disposed of, it is killed.</summary>
    /// <param name="folder">The working directory.</param>
    /// <param name="args">Its arguments.</param>
    public static ProgramProcess Begin(string folder, params string[] args) => new(Process.Start(Info(Program, folder, args))!);

    /// <summary>Starts the service on a free port, and waits until it is ready.</summary>
    /// <param name="folder">The working directory, where it keeps its data too.</param>
    /// <param name="args">Further arguments.</param>
    public static async Task<ProgramProcess> Serve(string folder, params string[] args)
    {
        var program = new ProgramProcess(Process.Start(Info(Program, folder, ["--urls=http://127.0.0.1:0", .. args]))!);
        using var patience = new CancellationTokenSource(Patience);
        while (program.Http.BaseAddress is null)
        {
            if (program.process.HasExited)
                throw new InvalidOperationException($"the service ended before it listened: {program.Said}");
            if (Listening().Match(program.Said) is { Success: true } match)
                program.Http.BaseAddress = new Uri(match.Groups[1].Value);
            else
                await Task.Delay(20, patience.Token);
        }

        var ready = new Uri("/health/ready", UriKind.Relative);
        while ((await program.Http.GetAsync(ready, patience.Token)).StatusCode != HttpStatusCode.OK)
            await Task.Delay(50, patience.Token);
        return program;
    }

    /// <summary>Kills it (SIGKILL): it gets to do nothing more.</summary>
    public void Kill() => process.Kill();

    /// <summary>Ends it as a machine that is shut down does: SIGTERM, and time to put things in order.</summary>
    public async Task Terminate()
    {
        using var signal = Process.Start("kill", ["-TERM", $"{process.Id}"]);
        await signal.WaitForExitAsync();
        using var patience = new CancellationTokenSource(Patience);
        await process.WaitForExitAsync(patience.Token);
        Assert.Equal(0, process.ExitCode);
    }

    /// <inheritdoc/>
    public async ValueTask DisposeAsync()
    {
        Http.Dispose();
        if (!process.HasExited)
            process.Kill();
        await process.WaitForExitAsync();
        process.Dispose();
    }

    private static string Program => Path.Combine(AppContext.BaseDirectory, "IrrigationFhir.dll");

    private static ProcessStartInfo Info(string program, string folder, string[] args, params (string Name, string Value)[] environment)
    {
        var info = new ProcessStartInfo("dotnet", [program, .. args])
        {
            RedirectStandardOutput = true,
            RedirectStandardError = true,
            WorkingDirectory = folder,
        };
        foreach (var (name, value) in environment)
            info.Environment[name] = value;
        return info;
    }

    private void Heard(string? line)
    {
        lock (said)
            said.Append(line).Append('\n');
    }

    [GeneratedRegex("Now listening on: (http://[0-9.:]+[0-9])")]
    private static partial Regex Listening();
}
