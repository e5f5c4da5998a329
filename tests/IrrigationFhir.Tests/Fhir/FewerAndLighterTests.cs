using System.Globalization;
using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Nodes;
using IrrigationFhir.Demo;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>What is published of one invented night, counted and weighed.</summary>
public class FewerAndLighterTests
{
    [Fact]
    public async Task The_night_is_told_in_50_Observations_and_100_kB()
    {
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var episode = await ward.Open(InventedNight.Episode());
        foreach (var request in InventedNight.AsCharted())
            await ward.Record(episode, [.. request.Select(entry => entry!.DeepClone())]);

        var night = (await ward.Resources(episode, "Observation")).Values.ToList();
        var table = new StringBuilder();
        foreach (
            var profile in night
                .GroupBy(o => ((string)o["meta"]!["profile"]![0]!).Split('/')[^1])
                .OrderBy(g => g.Key, StringComparer.Ordinal)
        )
        {
            var bytes = profile.Sum(o => Bytes(o));
            table.AppendLine(CultureInfo.InvariantCulture, $"| {profile.Key} | {profile.Count()} | {bytes / 1000.0:0.0} |");
        }

        var all = night.Sum(o => Bytes(o));
        table.AppendLine(CultureInfo.InvariantCulture, $"| all | {night.Count} | {all / 1000.0:0.0} |");
        if (Environment.GetEnvironmentVariable("SHOW_NIGHT") is { } file)
        {
            await File.WriteAllTextAsync(file, table.ToString());
            await File.WriteAllTextAsync(file + ".json", new JsonArray([.. night.Select(o => o.DeepClone())]).ToString());
        }

        Assert.True(night.Count <= 50 && all <= 100_000, table.ToString());
    }

    /// <summary>As it goes over the wire.</summary>
    private static int Bytes(JsonNode resource) => Encoding.UTF8.GetByteCount(resource.ToJsonString(AsSent));

    private static readonly JsonSerializerOptions AsSent = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping };
}
