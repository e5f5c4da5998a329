using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Analytics;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using IrrigationFhir.Tests.Examples;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>A service to which every story of the examples was told, with what reads its store out. Told once for all tests.</summary>
public sealed class StoriesTold : IAsyncLifetime
{
    internal RunningService Ward { get; } = RunningService.Start("2026-03-15T06:05:00Z");

    /// <summary>The ids of the episodes, by the names of their stories.</summary>
    internal Dictionary<string, string> Episodes { get; } = [];

    internal DomainViews Views { get; } = new(new Profiles(Profiles.DefaultCanonicalBase));

    internal ResourceScan Scan => new(() => Dialect.OpenForReading(Ward.Folder));

    public async Task InitializeAsync()
    {
        foreach (var story in Stories.All)
        {
            var episode = await Ward.Open(story.Episode.DeepClone().AsObject());
            foreach (var request in story.Requests)
                await Ward.Record(episode, request is JsonArray entries ? [.. entries.Select(e => e!)] : [request]);
            if (story.Closed is { } closed)
                Assert.Equal(HttpStatusCode.OK, (await Ward.Post("/episodes", closed)).Status);
            Episodes.Add(story.Name, episode);
        }
    }

    public async Task DisposeAsync() => await Ward.DisposeAsync();

    /// <summary>Exports into a folder of its own.</summary>
    internal async Task<(string Folder, ExportManifest Manifest)> Export(string format, Action<ExportFolder>? also = null)
    {
        var folder = Directory.CreateTempSubdirectory("export-").FullName;
        var export = new ExportFolder(Scan, Views, folder);
        also?.Invoke(export);
        return (folder, await export.Run(new(format, null, CsvSafe: false), null, CancellationToken.None));
    }
}
