using System.Text.Json;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Episodes;
using IrrigationFhir.Model;
using IrrigationFhir.Record;
using IrrigationFhir.Rest;
using IrrigationFhir.Settings;
using NodaTime;

namespace IrrigationFhir.Demo;

/// <summary>
/// <c>compute log.json</c>: the balance of a log in a file, with every intermediate step, in words to check by hand; with <c>--json</c>
/// as the service answers it. Needs no server and keeps nothing; the settings are those of appsettings.json here and the environment.
/// </summary>
/// <remarks>The file holds <c>{"episode": …, "entries": […]}</c>, both as they would be posted.</remarks>
internal static class Compute
{
    /// <summary>Computes; 0 when the balance is printed, 1 when the log is not readable, 2 when it was called wrongly.</summary>
    public static int Run(string[] args, TextWriter output, TextWriter errors)
    {
        var json = args is ["--json", ..];
        if ((json ? args[1..] : args) is not [var path] || path.StartsWith('-'))
        {
            errors.WriteLine("usage: IrrigationFhir compute [--json] <log.json>");
            return 2;
        }

        if (!File.Exists(path))
        {
            errors.WriteLine($"no file {path}");
            return 2;
        }

        SiteSettings site;
        try
        {
            site = SiteSettings.Here();
        }
        catch (SettingsFault faults)
        {
            errors.WriteLine(faults.Message);
            return 2;
        }

        var problems = new List<EntryProblem>();
        var (balance, definition) = Read(File.ReadAllBytes(path), site.Balance, problems);
        foreach (var problem in problems)
            errors.WriteLine($"{problem.Code}: {problem.Text}");
        if (balance is null || definition is null || problems.Count > 0)
            return 1;

        var asOf = Last(balance.Log);
        var flags = FlagRecord.Of(balance, definition.Facts, new(site.Flags, site.Criteria, site.Forecasts), asOf);
        var report = BalanceReport.Of(balance, null, definition, asOf, site.Criteria, site.Forecasts) with
        {
            Numbers = NumbersReport.Of(flags, null),
        };
        if (json)
            output.WriteLine(JsonSerializer.Serialize(report, ReadableJson.Indented));
        else
            BalanceInWords.Write(report, output);
        return 0;
    }

    private static (FluidBalance? Balance, EpisodeDefinition? Definition) Read(
        byte[] bytes,
        BalanceSettings settings,
        List<EntryProblem> problems
    )
    {
        JsonDocument document;
        try
        {
            document = JsonDocument.Parse(bytes);
        }
        catch (JsonException fault)
        {
            problems.Add(
                new(
                    "malformed-json",
                    "file",
                    $"unreadable JSON at line {(fault.LineNumber ?? 0) + 1}",
                    "{\"episode\": …, \"entries\": […]}"
                )
            );
            return default;
        }

        using (document)
        {
            if (
                document.RootElement.ValueKind != JsonValueKind.Object
                || !document.RootElement.TryGetProperty("episode", out var described)
                || !document.RootElement.TryGetProperty("entries", out var sent)
                || sent.ValueKind != JsonValueKind.Array
            )
            {
                problems.Add(EntryProblem.Missing("file", "{\"episode\": …, \"entries\": […]}"));
                return default;
            }

            if (EpisodeReader.Read(described, DateTimeZone.Utc, problems) is not { } definition)
                return default;
            var read = sent.EnumerateArray()
                .Select((json, i) => EntryReader.Read(json, $"entries[{i}]", problems))
                .OfType<EntryRequest>()
                .ToList();
            if (problems.Count > 0)
                return default;

            var log = EpisodeLog.Empty(definition.Frame);
            foreach (var request in read)
            {
                if (RecordEntries.WithTime(request.Entry, log) is { } entry)
                    log = log.Append([entry], entry.Header.RecordedAt ?? entry.At).Log;
                else
                    problems.Add(EntryProblem.NothingToRetract(request.Where, request.Entry.Key));
            }

            var standing = read.Where(r => log.Current(r.Entry.Key)?.Entry == r.Entry);
            problems.AddRange(
                standing
                    .Select(r => Contradictions.Of(r.Entry, log, r.Where) ?? Confirmations.Of(r.Entry, log, r.Where))
                    .OfType<EntryProblem>()
            );
            return (FluidBalance.Of(log, settings), definition);
        }
    }

    private static Instant Last(EpisodeLog log) => log.Frame.End ?? log.Arrivals.Select(l => l.Entry.At).Append(log.Frame.Start).Max();
}
