using System.Globalization;
using System.Net;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using CsvHelper;
using Irrigation.Balance;
using IrrigationFhir.Demo;
using IrrigationFhir.DripRate;
using IrrigationFhir.Tests.Entries;
using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.DripRate;

/// <summary>
/// The sum of the gravity line over HTTP and from the command line, and what the replies of an episode say of it. The arithmetic itself
/// is tried in the core (<c>DripTests</c>).
/// </summary>
public sealed partial class DripRateTests : IAsyncLifetime
{
    private readonly RunningService _ward = RunningService.Start("2026-03-14T20:00:00Z");

    /// <summary>The rows of the check-values, W10 to W17, each with its source.</summary>
    public static TheoryData<string, string, string> Published
    {
        get
        {
            var rows = new TheoryData<string, string, string>();
            foreach (var (id, inputs, expected) in Rows())
                rows.Add(id, inputs, expected);
            return rows;
        }
    }

    public Task InitializeAsync() => Task.CompletedTask;

    public async Task DisposeAsync() => await _ward.DisposeAsync();

    [Theory]
    [MemberData(nameof(Published))]
    public async Task Every_published_drip_comes_out_over_HTTP_and_from_the_command(string id, string inputs, string expected)
    {
        var asked = Asked(inputs);
        var answered = await _ward.Read($"/drip-rate?{Query(asked)}");
        var count = Assert.Single(answered["toCount"]!.AsArray())!;
        Assert.Equal((id, decimal.Parse(expected, CultureInfo.InvariantCulture)), (id, (decimal)count["drops"]!["value"]!));
        Assert.Equal("{drop}/min", (string)count["drops"]!["unit"]!);

        var (code, printed, errors) = Run(["--json", .. asked.Select(pair => $"--{pair.Name}={pair.Value}")]);
        Assert.Equal((0, ""), (code, errors));
        Assert.True(JsonNode.DeepEquals(answered, JsonNode.Parse(printed)), printed);
    }

    [Fact]
    public void Eight_rows_are_published() => Assert.Equal(8, Rows().Count);

    [Fact] // W10: 83.3 × 10 / 60 = 13.9; 14 drops make 84 mL/h, and 1000 / 84 = 11.9 h
    public async Task It_is_answered_in_sentences_too()
    {
        var address = "/drip-rate?volume=1000%20mL&time=12h&dropFactor=10";
        string[] says =
        [
            "1,000 mL in 12 h are 83.3 mL/h: 14 drops/min by a set of 10 drops/mL (13.9 before rounding; 14 make 84 mL/h).",
            "1,000 mL last 11 h 54 min.",
            Drip.Caution,
            Texts.Caution,
        ];
        using var request = new HttpRequestMessage(HttpMethod.Get, address);
        request.Headers.Accept.ParseAdd("text/plain");
        using var response = await _ward.Http.SendAsync(request);
        Assert.Equal("text/plain", response.Content.Headers.ContentType!.MediaType);
        Assert.Equal(string.Join('\n', says) + "\n", await response.Content.ReadAsStringAsync());

        var (code, printed, _) = Run(["--volume=1000 mL", "--time=12 h", "--dropFactor=10"]);
        Assert.Equal((0, string.Join('\n', says) + Environment.NewLine), (code, printed));
        var answered = await _ward.Read(address);
        Assert.Equal(says[..2], answered["says"]!.AsArray().Select(sentence => (string)sentence!));
        Assert.Equal(says[2], (string)answered["caution"]!);
    }

    [Fact] // 27 × 60 / 15 = 108; u = √((0.1 × 108)² + 4²) / √3 = 6.649; 1000 / 108 = 9.259 h, / 121.3 = 8.244, / 94.7 = 10.56
    public async Task Counted_drops_are_told_back_and_held_against_the_order()
    {
        var drip = await _ward.Read("/drip-rate?rate=125%20mL/h&dropFactor=15%20{drop}/mL&counted=27&volume=1%20L");
        Assert.Equal((108m, 6.649m), (Value(drip, "counted", "rate"), Value(drip, "counted", "standardUncertainty")));
        Assert.Equal((94.701m, 121.299m), Ends(drip["counted"]!));
        Assert.Equal((-17m, -13.6m), (Value(drip, "deviation", "by"), Value(drip, "deviation", "percent")));
        Assert.Equal((-30.299m, -3.701m), Ends(drip["deviation"]!));
        Assert.Equal("slower", (string)drip["deviation"]!["answer"]!);
        Assert.Equal((1000m, 9.259m), (Value(drip, "lasts", "volume"), Value(drip, "lasts", "time")));
        Assert.Equal((8.244m, 10.56m), (Value(drip, "lasts", "shortest"), Value(drip, "lasts", "longest")));

        var alone = await _ward.Read("/drip-rate?dropFactor=15&counted=27");
        Assert.Equal(108m, Value(alone, "counted", "rate"));
        Assert.Equal((0, null, null), (alone["toCount"]!.AsArray().Count, alone["deviation"], alone["lasts"]));
    }

    [Fact]
    public async Task A_set_that_is_not_listed_is_taken_and_said_to_be_unusual()
    {
        var drip = await _ward.Read("/drip-rate?rate=120%20mL/h&dropFactor=13");
        Assert.Equal(26, Value(drip["toCount"]![0]!, "drops"));
        var caveat = Assert.Single(drip["caveats"]!.AsArray())!;
        Assert.Equal("drop-factor-not-listed", (string)caveat["code"]!);
        Assert.Contains("13 drops/mL is none of the usual ones (10, 12, 15, 20, 60 drops/mL)", (string)caveat["says"]!);
        Assert.Empty((await _ward.Read("/drip-rate?rate=120%20mL/h&dropFactor=12"))["caveats"]!.AsArray());
    }

    /// <summary>A question, then what is refused of it: the code and the parameter, in their order.</summary>
    public static TheoryData<string, string> Refused =>
        new()
        {
            { "", "missing dropFactor, missing counted" },
            { "volume=1000 mL&time=12 h", "missing dropFactor" },
            { "volume=1000 mL&dropFactor=10", "missing counted" },
            { "time=12 h&dropFactor=10", "missing volume" },
            { "volume=1000 mL&time=0 h&dropFactor=10", "out-of-range time" },
            { "volume=1000 mL&time=0.0000000000001 min&dropFactor=10", "out-of-range time" },
            { "volume=1000 mL&time=0.01 min&dropFactor=10", "out-of-range time" }, // 6000 L/h
            { "volume=1000 mL&time=12 h&rate=125 mL/h&dropFactor=10", "one-or-other rate" },
            { "rate=125 mL/h&dropFactor=0", "out-of-range dropFactor" },
            { "rate=125 mL/h&dropFactor=-10", "negative dropFactor" },
            { "rate=125 mL/h&dropFactor=1001", "out-of-range dropFactor" },
            { "volume=-1000 mL&time=-12 h&dropFactor=10", "negative volume, negative time" },
            { "rate=-1 mL/h&counted=-1&dropFactor=10", "negative rate, negative counted" },
            { "rate=2000000 mL/h&dropFactor=10", "out-of-range rate" },
            { "counted=10000&dropFactor=0.0001", "out-of-range dropFactor" },
            { "rate=fast&dropFactor=ten", "wrong-type rate, wrong-type dropFactor" },
            { "rate=1.2.3 mL/h&dropFactor=", "wrong-type rate, wrong-type dropFactor" },
            { "rate=99999999999999999999999999999999 mL/h&dropFactor=10", "wrong-type rate" },
            { "rate=NaN mL/h&dropFactor=10", "wrong-type rate" },
            { "rate=125&dropFactor=10", "missing-unit rate.unit" },
            { "volume=1000&time=12&dropFactor=10", "missing-unit volume.unit, missing-unit time.unit" },
            { "volume=1000 cc&time=12 d&dropFactor=10", "wrong-unit volume.unit, wrong-unit time.unit" },
            { "rate=125 mL/h&dropFactor=20 [drp]/mL", "wrong-unit dropFactor.unit" },
            { "rate=125 mL/h&dropfactor=10", "unknown-property dropfactor, missing dropFactor" },
            { "rate=125 mL/h&rate=126 mL/h&dropFactor=10", "repeated-property rate" },
        };

    [Theory]
    [MemberData(nameof(Refused))]
    public async Task Bad_input_is_refused_and_every_problem_is_named(string asked, string refused)
    {
        var reply = await _ward.Get($"/drip-rate?{asked.Replace(" ", "%20", StringComparison.Ordinal)}");
        Assert.True(reply.Status == HttpStatusCode.BadRequest, reply.Text);
        Assert.Equal("OperationOutcome", (string)reply.Json["resourceType"]!);
        var issues = reply.Json["issue"]!.AsArray().Select(i => $"{i!["details"]!["coding"]![0]!["code"]} {i["expression"]![0]}");
        Assert.Equal(refused, string.Join(", ", issues));

        if (asked.Length == 0)
            return;
        var (code, printed, errors) = Run([.. asked.Split('&').Select(pair => $"--{pair}")]);
        Assert.Equal((2, ""), (code, printed));
        var lines = errors.Split('\n', StringSplitOptions.RemoveEmptyEntries);
        Assert.Equal(refused, string.Join(", ", lines.Select(line => Said().Replace(line.Trim(), "$1 $2"))));
    }

    [Theory]
    [InlineData]
    [InlineData("--json")]
    [InlineData("125")]
    [InlineData("--rate", "125 mL/h")]
    public void It_says_how_it_is_called(params string[] args)
    {
        var (code, printed, errors) = Run(args);
        Assert.Equal((2, ""), (code, printed));
        Assert.StartsWith("usage: IrrigationFhir drip-rate [--json] --dropFactor=N", errors, StringComparison.Ordinal);
        Assert.All(DripQuestion.Parameters, parameter => Assert.Contains($"--{parameter.Name}=", errors, StringComparison.Ordinal));
    }

    [Fact]
    public async Task An_order_and_a_flow_are_answered_with_what_to_count()
    {
        // 3000 mL in 6 h are 500 mL/h: 125 drops/min of 15 drops/mL.
        var episode = await _ward.Open(RunningService.Episode("gravity", Charted.At("18:00")));
        var ordered = await _ward.Record(episode, Order("order", "18:00", factor: null));
        var drip = Assert.Single(ordered.Json["entries"]![0]!["drips"]!.AsArray())!;
        Assert.Equal(("1", "ordered"), ((string)drip["line"]!, (string)drip["wanted"]!));
        Assert.Equal(500m, Value(drip["drip"]!["toCount"]![0]!, "rate"));
        Assert.Null(drip["drip"]!["toCount"]![0]!["drops"]);
        Assert.Equal("drop-factor-unknown", (string)drip["drip"]!["caveats"]![0]!["code"]!);

        ordered = await _ward.Record(episode, Order("order", "18:00", factor: 15));
        Assert.Equal(125, Value(ordered.Json["entries"]![0]!["drips"]![0]!["drip"]!["toCount"]![0]!, "drops"));

        // 110 counted are 440 mL/h: 60 less, beyond 2 × 25.5.
        await _ward.Record(episode, Charted.BagHung("bag", "18:05", 3000));
        var flow = await _ward.Record(episode, Counted("flow", "18:15", 110));
        drip = flow.Json["entries"]![0]!["drips"]![0]!;
        Assert.Equal((Charted.At("18:15"), "slower"), ((string)drip["countedAt"]!, (string)drip["drip"]!["deviation"]!["answer"]!));
        Assert.Equal((-60m, -12m), (Value(drip["drip"]!, "deviation", "by"), Value(drip["drip"]!, "deviation", "percent")));
        Assert.Null((await _ward.Record(episode, Charted.Emptied("out", "18:30", 100))).Json["entries"]![0]!["drips"]);

        // The same in the balance, an hour later: 3000 − 440 are left.
        var balance = await _ward.Read($"/episodes/{episode}/balance?asOf={Charted.At("19:15")}");
        drip = Assert.Single(balance["drips"]!.AsArray())!;
        Assert.Equal((2560m, 5.818m), (Value(drip["drip"]!, "lasts", "volume"), Value(drip["drip"]!, "lasts", "time")));

        string[] says =
        [
            "Ordered 500 mL/h: 125 drops/min by a set of 15 drops/mL.",
            "Counted 110 drops/min at 18:15 by a set of 15 drops/mL: 440 mL/h, with 95 % certainty 389 to 491 mL/h.",
            "That is 60 mL/h less than wanted, 12 % (with 95 % certainty −111 to −9 mL/h): slower, beyond the doubt of drops.",
            "2,560 mL last 5 h 49 min, with 95 % certainty 5 h 13 min to 6 h 35 min.",
        ];
        Assert.Equal(says, drip["drip"]!["says"]!.AsArray().Select(sentence => (string)sentence!));
        var handover = await _ward.Http.GetStringAsync($"/episodes/{episode}/handover?form=long&asOf={Charted.At("19:15")}");
        Assert.Contains("continuous; 3,000 mL in 6 h; by a set of 15 drops/mL.", handover, StringComparison.Ordinal);
        string[] lines = ["Drip of line 1:", .. says.Select(sentence => $"  {sentence}"), $"  {Drip.Caution}"];
        Assert.Contains(string.Concat(lines.Select(line => $"  {line}\n")), handover, StringComparison.Ordinal);
    }

    [Fact]
    public void A_log_in_a_file_tells_it_too()
    {
        var log = new JsonObject
        {
            ["episode"] = RunningService.Episode("gravity", Charted.At("18:00")),
            ["entries"] = new JsonArray(Order("order", "18:00", 15), Charted.BagHung("bag", "18:05", 3000), Counted("flow", "18:15", 110)),
        };
        var folder = Directory.CreateTempSubdirectory("drip-").FullName;
        var path = Path.Combine(folder, "log.json");
        File.WriteAllText(path, log.ToJsonString());
        using var output = new StringWriter(CultureInfo.InvariantCulture);
        Assert.Equal(0, Compute.Run([path], output, TextWriter.Null));
        Directory.Delete(folder, recursive: true);
        var printed = Regex.Replace(output.ToString(), @"\s+", " ");
        Assert.Contains(" What drips ========== Line 1: Ordered 500 mL/h: 125 drops/min by a set of 15 drops/mL. Counted", printed);
        Assert.Contains($" {Drip.Caution} ", printed, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_night_without_drops_is_told_nothing_of_them()
    {
        var episode = await _ward.Open(RunningService.Episode("pump", Charted.At("18:00")));
        await _ward.Record(episode, Charted.BagHung("bag", "18:05", 3000), Charted.Flow("flow", "18:10", 500));
        Assert.Empty((await _ward.Read($"/episodes/{episode}/balance"))["drips"]!.AsArray());
        Assert.DoesNotContain("Drip", await _ward.Http.GetStringAsync($"/episodes/{episode}/handover?form=long"), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(0, 3000, "out-of-range entries[0].over")]
    [InlineData(-1, 3000, "negative entries[0].over")]
    [InlineData(6, null, "missing entries[0].volume")]
    [InlineData(0.001, 1_000_000, "out-of-range entries[0].over")]
    public async Task An_order_of_a_volume_in_no_time_is_refused(double hours, int? volume, string refused)
    {
        var episode = await _ward.Open(RunningService.Episode("no time", Charted.At("18:00")));
        var order = Order("order", "18:00", 15);
        order["over"]!["value"] = (decimal)hours;
        if (volume is { } ml)
            order["volume"]!["value"] = ml;
        else
            order.Remove("volume");
        var reply = await _ward.Post($"/episodes/{episode}/entries", order);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, reply.Status);
        var issue = Assert.Single(reply.Json["issue"]!.AsArray())!;
        Assert.Equal(refused, $"{issue["details"]!["coding"]![0]!["code"]} {issue["expression"]![0]}");
    }

    private static JsonObject Order(string id, string clock, decimal? factor)
    {
        var order = Charted.Of(
            "order-set",
            id,
            clock,
            ("method", "continuous"),
            ("volume", Charted.Millilitres(3000)),
            ("over", new JsonObject { ["value"] = 6, ["unit"] = "h" })
        );
        if (factor is { } printed)
            order["dropFactor"] = new JsonObject { ["value"] = printed, ["unit"] = "{drop}/mL" };
        return order;
    }

    private static JsonObject Counted(string id, string clock, decimal drops) =>
        Charted.Of(
            "flow-set",
            id,
            clock,
            ("rate", new JsonObject { ["value"] = drops, ["unit"] = "{drop}/min" }),
            ("dropFactor", new JsonObject { ["value"] = 15, ["unit"] = "{drop}/mL" })
        );

    private static decimal Value(JsonNode node, params string[] path) =>
        (decimal)path.Aggregate(node, (inner, name) => inner[name]!)["value"]!;

    private static (decimal, decimal) Ends(JsonNode node) => (Value(node["interval95"]!, "low"), Value(node["interval95"]!, "high"));

    private static (int Code, string Output, string Errors) Run(string[] args)
    {
        using var output = new StringWriter(CultureInfo.InvariantCulture);
        using var errors = new StringWriter(CultureInfo.InvariantCulture);
        var code = DripRateApi.Print(args, () => BalanceSettings.Default, output, errors);
        return (code, output.ToString(), errors.ToString());
    }

    /// <summary>"1000 mL in 12 h; 10 drops/mL", or "125 mL/h; 15 drops/mL", as parameters.</summary>
    private static List<(string Name, string Value)> Asked(string inputs)
    {
        var parts = inputs.Split("; ");
        var set = ("dropFactor", parts[1].Replace(" drops/mL", "", StringComparison.Ordinal));
        return parts[0].Split(" in ") is [var volume, var time] ? [("volume", volume), ("time", time), set] : [("rate", parts[0]), set];
    }

    private static string Query(List<(string Name, string Value)> asked) =>
        string.Join('&', asked.Select(pair => $"{pair.Name}={Uri.EscapeDataString(pair.Value)}"));

    private static List<(string Id, string Inputs, string Expected)> Rows()
    {
        using var csv = CsvReader.Create(new StringReader(Repo.Read("tests/Irrigation.Tests/published.csv")));
        var rows = new List<(string, string, string)>();
        csv.ReadHeader();
        while (csv.Read())
        {
            if (csv.GetString("kind") == "drip-rate")
                rows.Add((csv.GetString("id"), csv.GetString("inputs"), csv.GetString("expected")));
        }

        return rows;
    }

    [GeneratedRegex(@"^([\w-]+): ([\w.]+): .*$")]
    private static partial Regex Said();
}
