using System.Text.Json;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Validation;
using NodaTime;

namespace IrrigationFhir.Record;

/// <summary>Goes the main path once as soon as the service serves, with an invented morning that is stored nowhere.</summary>
/// <remarks>
/// The first time through costs the compiler a second or two: it is spent here, on a thread of its own, and not by the first nurse who
/// charts. What is compiled is the process's: of several services in one only the first rehearses.
/// </remarks>
internal sealed class Rehearsal(
    ReviseEpisode revise,
    BalanceSettings settings,
    FlagLimits limits,
    IHostApplicationLifetime service,
    ILogger<Rehearsal> log
) : IHostedService
{
    private const string Episode = """
        {
          "identifier": { "system": "urn:example:rehearsal", "value": "1" },
          "patient": { "identifier": { "system": "urn:example:rehearsal", "value": "1" } },
          "timeZone": "UTC",
          "birthDate": "1950-05-01",
          "start": "2026-03-14T00:00:00Z"
        }
        """;

    private static int begun;

    /// <inheritdoc/>
    public Task StartAsync(CancellationToken cancellationToken)
    {
        // Not sooner: it would take a core from what the service has to have done before it is ready.
        if (Interlocked.Exchange(ref begun, 1) == 0)
            service.ApplicationStarted.Register(() => ProfileValidator.OnItsOwnThread(Begin));
        return Task.CompletedTask;
    }

    /// <inheritdoc/>
    public Task StopAsync(CancellationToken cancellationToken) => Task.CompletedTask;

    private bool Begin()
    {
        try
        {
            Play();
        }
        catch (Exception failure)
        {
            // Nothing that anybody charted is in it. What fails here would fail a request too, which says so itself.
            log.LogError(failure, "The main path could not be rehearsed");
        }

        // A start leaves some 200 MB behind that nobody needs any more, and with nothing to do nobody would collect them.
        GC.Collect(GC.MaxGeneration, GCCollectionMode.Aggressive);
        return true;
    }

    /// <summary>Once through.</summary>
    /// <exception cref="InvalidOperationException">Something of it would be withheld.</exception>
    public void Play()
    {
        using var described = JsonDocument.Parse(Episode);
        var definition = EpisodeReader.Read(described.RootElement, DateTimeZone.Utc, [])!;
        var frame = definition.Frame;
        var balance = FluidBalance.Of(EpisodeLog.Empty(frame), settings);
        var episode = new StoredEpisode(new("", "rehearsal", 1, 0, null, null, frame.Start, null, Episode), definition, balance)
        {
            Flags = FlagRecord.Of(balance, definition.Facts, limits, frame.Start),
            Criteria = CriteriaRecord.Of(balance, new(definition.BirthDate, frame.Zone), limits.Criteria, 0.7),
        };
        foreach (var batch in Morning.Chunk(8))
        {
            using var entries = JsonDocument.Parse($"[{string.Join(',', batch)}]");
            Entry[] read = [.. entries.RootElement.EnumerateArray().Select(entry => EntryReader.Read(entry, "", [])!.Entry)];
            var revision = Revision.ByEntries(episode, read, read.Max(entry => entry.At), Steps.Untold);
            if (revise.Rehearse(revision) is [var withheld, ..])
                throw new InvalidOperationException($"the rehearsal: {withheld.Type}: {withheld.Faults}");
            episode = revision.After;
        }

        RememberedJson.Read(RememberedJson.Write(new(episode.Flags!.Remembered, [.. episode.Criteria!.Histories.Values])));
    }

    /// <summary>The entries, as they would be sent.</summary>
    public static IEnumerable<string> Morning =>
        [
            At(0, "weight-measured", $"{Amount("weight", 80, "kg")},\"weightKind\":\"actual\""),
            At(0, "bag-hung", Amount("volume", 3000, "mL")),
            At(0, "flow-set", Amount("rate", 600, "mL/h")),
            .. Enumerable.Range(0, 4).Select(hour => At(60 * hour, "drainage-level-read", Amount("level", 650 * hour, "mL"))),
            At(240, "drainage-appearance", "\"colour\":\"straw\",\"clots\":\"few\""),
            At(270, "drainage-emptied", Amount("volume", 2900, "mL")),
            At(300, "bag-taken-down", Amount("remaining", 0, "mL")),
            At(300, "bag-hung", Amount("volume", 3000, "mL")),
            At(720, "drainage-emptied", Amount("volume", 2900, "mL")),
        ];

    private static string Amount(string name, int value, string unit) =>
        $$"""
            "{{name}}":{"value":{{value}},"unit":"{{unit}}"}
            """;

    private static string At(int minute, string kind, string content) =>
        $$"""
            {
              "source":"rehearsal","id":"{{kind}} {{minute}}","kind":"{{kind}}",
              "at":"2026-03-14T{{minute / 60:00}}:{{minute % 60:00}}:00Z",{{content}}
            }
            """;
}
