using System.Text.Json.Nodes;
using IrrigationFhir.Demo;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>What is published of the invented night: for tests that look at it from several sides.</summary>
public sealed class PublishedNight : IAsyncLifetime
{
    internal RunningService Ward { get; } = RunningService.Start("2026-03-15T06:05:00Z");

    internal string Episode { get; private set; } = "";

    internal IReadOnlyList<JsonNode> Observations { get; private set; } = [];

    internal IEnumerable<JsonNode> Outputs => Observations.Where(o => Id(o).Contains(".corrected-urine-output.", StringComparison.Ordinal));

    public async Task InitializeAsync()
    {
        Episode = await Ward.Open(InventedNight.Episode());
        foreach (var request in InventedNight.AsCharted())
            await Ward.Record(Episode, [.. request.Select(entry => entry!.DeepClone())]);
        Observations = [.. (await Ward.Resources(Episode, "Observation")).Values];
    }

    public async Task DisposeAsync() => await Ward.DisposeAsync();

    /// <summary>The part of an id after the episode's and the slug: <c>h20260314T200000</c>.</summary>
    internal JsonNode Output(string window) => Observations.Single(o => Id(o) == $"{Episode}.corrected-urine-output.{window}");

    internal static string Id(JsonNode resource) => (string)resource["id"]!;

    internal static IEnumerable<string> Codes(JsonNode observation) =>
        observation["code"]!["coding"]!.AsArray().Select(coding => (string)coding!["code"]!);

    internal static decimal? Value(JsonNode observation) => (decimal?)observation["valueQuantity"]?["value"];

    internal static JsonNode? Part(JsonNode observation, string slug) =>
        observation["component"]?.AsArray().SingleOrDefault(part => (string)part!["code"]!["coding"]![0]!["code"]! == slug);

    internal static (DateTimeOffset Start, DateTimeOffset End) Period(JsonNode observation) =>
        ((DateTimeOffset)observation["effectivePeriod"]!["start"]!, (DateTimeOffset)observation["effectivePeriod"]!["end"]!);
}
