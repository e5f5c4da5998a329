using System.ComponentModel;
using System.Diagnostics;
using System.Globalization;
using IrrigationFhir.Analytics;
using IrrigationFhir.Audit;
using IrrigationFhir.Rest;
using IrrigationFhir.Settings;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Commands;

/// <summary>The command <c>export</c>: 0 when done, 1 when it failed or was interrupted, 2 when it was called wrongly.</summary>
internal static class ExportCommand
{
    private const string Usage =
        "usage: IrrigationFhir export FOLDER [--format parquet|csv|ndjson|fhir] [--since 2026-03-15T07:00:00Z] [--csv-safe] "
        + "[--Data:Folder DATA]";

    /// <summary>Lets a service on the same machine go first: who charts waits for nobody's tables. Before anything else.</summary>
    /// <remarks>On Linux what counts is the thread, and threads take after the one that began them.</remarks>
    public static void GiveWay()
    {
        using var self = Process.GetCurrentProcess();
        try
        {
            self.PriorityClass = ProcessPriorityClass.BelowNormal;
        }
        catch (Exception refused) when (refused is Win32Exception or UnauthorizedAccessException or NotSupportedException)
        {
            // Then it goes beside everybody else.
        }
    }

    /// <summary>
    /// <c>export FOLDER</c>: the whole store as tables, while the service runs or not, all of one moment. Called again after an
    /// interruption it goes on, as of that moment.
    /// </summary>
    /// <param name="args">The folder, the options, then settings, as the service takes them.</param>
    /// <param name="output">Gets a line a table, and one that says how to go on from there.</param>
    /// <param name="errors">Gets the progress on a terminal, and what hindered it.</param>
    public static async Task<int> Run(string[] args, TextWriter output, TextWriter errors)
    {
        var (order, folder, settings, fault) = Read(args);
        if (order is null)
            return CommandLine.RefuseCall(errors, fault!);
        var configuration = WebApplication.CreateBuilder(settings).Configuration;
        var store = StoreSettings.Read(configuration);
        var profiles = FhirSettings.Read(configuration).Vocabulary.Profiles;
        if (!BackUp.HasStore(store.Folder))
            return CommandLine.RefuseCall(errors, $"{store.Folder} holds no store");

        using var interrupted = new CancellationTokenSource();
        void Interrupt(object? sender, ConsoleCancelEventArgs pressed) => (pressed.Cancel, _) = (true, interrupted.CancelAsync());
        Console.CancelKeyPress += Interrupt;
        try
        {
            var since = order.Since is { } from ? $" --since {InstantPattern.ExtendedIso.Format(from)}" : "";
            var disclosed = new LeftDisclosure(store.Folder, TimeProvider.System, $"export --format {order.Format}{since}");
            disclosed.Begin();
            var scan = new ResourceScan(() => Dialect.OpenForReading(store.Folder));
            var export = new ExportFolder(scan, new DomainViews(profiles), folder!) { Disclosed = disclosed };
            var manifest = await export.Run(order, ProgressLine.On(errors), interrupted.Token);
            foreach (var table in manifest.Files.GroupBy(file => file.Table))
                output.WriteLine(
                    Invariant($"{table.Key}: {table.Sum(file => file.Rows):N0} rows, {table.Sum(file => file.Bytes):N0} bytes")
                );
            foreach (var left in manifest.LeftOut.Take(20))
                errors.WriteLine($"left out of {left.Table}: {left.Resource}: {left.Why}");
            if (manifest.Files.Sum(file => file.LeftOut) is > 0 and var all)
                errors.WriteLine($"{all} left out in all: {ExportFolder.ManifestName} says of which table");
            var moment = InstantPattern.ExtendedIso.Format(manifest.TransactionTime);
            output.WriteLine($"exported to {folder}, as of {moment}: what changes later comes with --since {moment}");
            return 0;
        }
        catch (OperationCanceledException)
        {
            errors.WriteLine($"interrupted: the same command goes on where it was; nothing in {folder} is half");
            return 1;
        }
        catch (AuditUnavailable)
        {
            errors.WriteLine($"{store.Folder} cannot be written: what is exported is recorded there first, or not exported");
            return 1;
        }
        catch (Exception hindrance)
            when (hindrance is ExportRefusal or ViewFault or IOException or UnauthorizedAccessException or StoreFailure)
        {
            errors.WriteLine(hindrance.Message);
            return 1;
        }
        catch (Exception failure) when (Dialect.FailureOf(failure) is { } meant)
        {
            errors.WriteLine($"{store.Folder} cannot be read: {meant.Message}");
            return 1;
        }
        finally
        {
            Console.CancelKeyPress -= Interrupt;
            Dialect.ReleasePool(store.Folder);
        }
    }

    private static (ExportOrder? Order, string? Folder, string[] Settings, string? Fault) Read(string[] args)
    {
        if (args is not [{ Length: > 0 } folder, .. var rest] || folder.StartsWith('-'))
            return (null, null, [], Usage);
        var (format, since, csvSafe, settings) = ("parquet", (Instant?)null, false, new List<string>());
        for (var i = 0; i < rest.Length; i++)
        {
            var (name, value) = rest[i].IndexOf('=', StringComparison.Ordinal) is > 0 and var at
                ? (rest[i][..at], rest[i][(at + 1)..])
                : (rest[i], null);
            switch (name)
            {
                case "--csv-safe" when value is null:
                    csvSafe = true;
                    break;
                case "--format":
                    format = value ?? (++i < rest.Length ? rest[i] : "");
                    if (!ExportOrder.Formats.Contains(format))
                        return (null, null, [], $"--format: '{format}'; one of {string.Join(", ", ExportOrder.Formats)} is expected");
                    break;
                case "--since":
                    var text = value ?? (++i < rest.Length ? rest[i] : "");
                    if (OffsetDateTimePattern.Rfc3339.Parse(text) is not { Success: true, Value: var given })
                        return (null, null, [], $"--since: '{text}'; a date with time and offset such as 2026-03-15T07:00:00Z is expected");
                    since = given.ToInstant();
                    break;
                default:
                    if (!name.StartsWith("--", StringComparison.Ordinal) || !AllSettings.Knows(name[2..]))
                        return (null, null, [], $"{rest[i]}: not expected here\n{Usage}");
                    settings.Add(rest[i]);
                    if (value is null && i + 1 < rest.Length)
                        settings.Add(rest[++i]);
                    break;
            }
        }

        return (new(format, since, csvSafe), folder, [.. settings], null);
    }

    private static string Invariant(FormattableString text) => text.ToString(CultureInfo.InvariantCulture);

    /// <summary>One line on a terminal that says how far it is; nothing where nobody looks.</summary>
    private sealed class ProgressLine(TextWriter terminal) : IProgress<ExportProgress>
    {
        private TimeSpan _next;

        public static ProgressLine? On(TextWriter errors) => Console.IsErrorRedirected ? null : new(errors);

        public void Report(ExportProgress value)
        {
            if (value.Elapsed < _next && value.Done < value.Total)
                return;
            _next = value.Elapsed + TimeSpan.FromMilliseconds(200);
            var percent = value.Total == 0 ? 100 : Math.Min(100, 100 * value.Done / value.Total);
            var line = Invariant($"{value.Type} {percent} %: {value.Done:N0} read, {value.Rows:N0} rows, {value.Elapsed:mm\\:ss}");
            terminal.Write($"\r{line, -70}");
            if (value.Done >= value.Total)
                terminal.Write('\n');
        }
    }
}
