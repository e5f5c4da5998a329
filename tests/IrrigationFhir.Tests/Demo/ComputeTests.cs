using System.Globalization;
using System.Text.Json.Nodes;
using IrrigationFhir.Demo;
using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.Demo;

/// <summary><c>compute</c>: the same arithmetic without a server.</summary>
public class ComputeTests
{
    private const string Log = "fhir-examples/a-night/log.json";

    [Fact]
    public async Task It_prints_the_balance_that_the_service_answers()
    {
        var (code, printed, problems) = Run(Repo.PathOf(Log));
        Assert.Equal((0, ""), (code, problems));

        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var episode = await ward.Open(InventedNight.Episode());
        foreach (var charted in InventedNight.AsCharted()) await ward.Record(episode, [.. charted.Select(e => e!)]);
        var answered = await ward.Read($"/episodes/{episode}/balance?asOf={Uri.EscapeDataString(InventedNight.Handover)}");

        Assert.Equal(7, printed!["intervals"]!.AsArray().Count);
        Assert.True(JsonNode.DeepEquals(answered["intervals"], printed["intervals"]), $"{answered["intervals"]}\n{printed["intervals"]}");
        Assert.True(JsonNode.DeepEquals(answered["hours"], printed["hours"]), $"{answered["hours"]}\n{printed["hours"]}");
    }

    [Fact]
    public void It_names_every_problem_of_a_log_and_prints_no_balance()
    {
        var log = JsonNode.Parse(Repo.Read(Log))!;
        log["entries"]![3]!["volume"]!["value"] = -20;
        log["entries"]![6]!["rate"]!["unit"] = "mL/hr";

        var (code, printed, problems) = Run(Kept(log.ToJsonString()));

        Assert.Equal(1, code);
        Assert.Null(printed);
        Assert.Equal(
            ["negative: entries[3].volume: -20 mL; 0 or more: only a derived output may be negative", "wrong-unit: entries[6].rate.unit: unit 'mL/hr'; one of mL/h, ml/h, mL/min, ml/min, L/h, l/h"],
            problems.Split('\n', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries));
    }

    [Theory]
    [InlineData("{\"episode\": ", "malformed-json: file: unreadable JSON at line 1")]
    [InlineData("[]", "missing: file: ")]
    [InlineData("{\"episode\": {}, \"entries\": []}", "missing: episode.identifier: ")]
    public void It_says_what_is_wrong_with_a_file(string content, string says)
    {
        var (code, printed, problems) = Run(Kept(content));
        Assert.Equal(1, code);
        Assert.Null(printed);
        Assert.StartsWith(says, problems, StringComparison.Ordinal);
    }

    [Fact]
    public void It_says_how_it_is_called()
    {
        Assert.Equal((2, "usage: IrrigationFhir compute <log.json>"), Called());
        Assert.Equal((2, "no file nowhere.json"), Called("nowhere.json"));
    }

    private static (int Code, string Says) Called(params string[] args)
    {
        var (code, _, problems) = Run(args);
        return (code, problems.Trim());
    }

    private static (int Code, JsonNode? Printed, string Problems) Run(params string[] args)
    {
        using var output = new StringWriter(CultureInfo.InvariantCulture);
        using var errors = new StringWriter(CultureInfo.InvariantCulture);
        var code = Compute.Run(args, output, errors);
        return (code, output.ToString() is { Length: > 0 } text ? JsonNode.Parse(text) : null, errors.ToString());
    }

    private static string Kept(string content)
    {
        var path = Path.Combine(Directory.CreateTempSubdirectory("compute-").FullName, "log.json");
        File.WriteAllText(path, content);
        return path;
    }
}
