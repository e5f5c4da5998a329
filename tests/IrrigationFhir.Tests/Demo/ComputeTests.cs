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
        var (code, printed, problems) = Run("--json", Repo.PathOf(Log));
        Assert.Equal((0, ""), (code, problems));

        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var episode = await ward.Open(InventedNight.Episode());
        foreach (var charted in InventedNight.AsCharted())
            await ward.Record(episode, [.. charted.Select(e => e!)]);
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
            [
                "negative: entries[3].volume: -20 mL; 0 or more: only a derived output may be negative",
                "wrong-unit: entries[6].rate.unit: unit 'mL/hr'; one of mL/h, ml/h, mL/min, ml/min, L/h, l/h",
            ],
            problems.Split('\n', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries)
        );
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
        Assert.Equal((2, "usage: IrrigationFhir compute [--json] <log.json>"), Called());
        Assert.Equal(Called(), Called("--xml", "log.json"));
        Assert.Equal(Called(), Called("--json"));
        Assert.Equal((2, "no file nowhere.json"), Called("nowhere.json"));
    }

    [Fact]
    public void An_interval_can_be_worked_again_on_paper()
    {
        var lines = Words(Repo.Read(Log));

        // The clot: 400 out, its share of the second bag in, and what the scans found held back.
        Assert.Equal(
            [
                "Sun 15 Mar 01:20 to 02:30 (1 h 10 min), final",
                "Drained 400.0 mL",
                "400.0 mL drainage emptied 02:30",
                "− irrigant run in 947.1 mL",
                "947.1 mL 2300 × 933.3 / 2266.7: 2300 mL ran 01:20 to 04:30, by the charted flow 933.3 mL of",
                "2266.7 in this time; bag taken down 04:30: 3000 − 0 in the tubing − 700 left = 2300",
                "+ more held in the bladder than before 610.0 mL",
                "630 (scan 02:35) − 20 (scan 21:00)",
                "+ leaked 0 assumed",
                "= Corrected urine output 62.9 mL 400 − 947.1 + 610 = 62.9",
                "an hour 54.0 mL/h 62.9 mL in 1 h 10 min",
            ],
            From(lines, "Sun 15 Mar 01:20 to 02:30").Take(11)
        );
        Assert.Contains("Taken as 0, because nobody measured it: absorbed, blood, leaked.", lines);
        Assert.Equal("the order and licensed practice prevail.", lines[^1]);
    }

    [Fact]
    public void A_window_says_which_part_of_which_interval_it_took()
    {
        // 20 min of 68.7 mL in 200 min: 6.9. 40 of the 70 min that made 62.9: 36. Together 42.8 before rounding.
        var lines = Words(Repo.Read(Log));
        Assert.Equal(
            [
                "Sun 15 Mar 01:00 to 02:00 (1 h), corrected",
                "6.9 mL 20 min of the 3 h 20 min from 22:00 to 01:20, which made 68.7 mL",
                "36.0 mL 40 min of the 1 h 10 min from 01:20 to 02:30, which made 62.9 mL",
                "= Corrected urine output 42.8 mL 42.8 mL/h over 1 h",
            ],
            From(lines, "Sun 15 Mar 01:00 to 02:00").Take(4)
        );
        Assert.Contains("Simple sum of what was charted in this time −530.0 mL 2430 drained − 2960 irrigant", lines);
        Assert.Contains("Note: Closing reading fell between two readings of the irrigant; its share is interpolated. Share of a", lines);
    }

    [Fact]
    public void The_README_shows_what_is_printed()
    {
        var shown = Repo.Read("README.md").Split("```text\n")[1].Split("```")[0].TrimEnd('\n');
        using var output = new StringWriter(CultureInfo.InvariantCulture);
        Compute.Run([Repo.PathOf(Log)], output, TextWriter.Null);
        Assert.Contains(shown, output.ToString().ReplaceLineEndings("\n"), StringComparison.Ordinal);
    }

    [Fact]
    public void The_shares_of_a_window_add_up_to_it()
    {
        var (_, printed, _) = Run("--json", Repo.PathOf(Log));
        var windows = new[] { "hours", "shifts", "days", "trailing" }
            .SelectMany(kind => printed![kind]!.AsArray())
            .Select(w => w!)
            .ToList();
        Assert.NotEmpty(windows);
        Assert.All(
            windows,
            w =>
            {
                // Each of them is rounded to a thousandth at the wire.
                var sum = w["shares"]!.AsArray().Sum(s => (decimal)s!["amount"]!["value"]!);
                Assert.InRange(sum - (decimal)w["correctedUrineOutput"]!["headline"]!["value"]!, -0.005m, 0.005m);
            }
        );
    }

    [Fact]
    public void What_is_missing_is_unknown_and_says_why()
    {
        var lines = Words(
            LogOf(
                """{"kind": "bag-hung", "at": "08:00", "line": "1", "volume": {"value": 3000, "unit": "mL"}}""",
                """{"kind": "bag-taken-down", "at": "10:00", "line": "1"}""",
                """{"kind": "drainage-emptied", "at": "10:00", "volume": {"value": 900, "unit": "mL"}}"""
            )
        );
        Assert.Equal(
            [
                "Drained 900.0 mL",
                "900.0 mL drainage emptied 10:00",
                "− irrigant run in unknown",
                "unknown bag taken down 10:00",
                "+ more held in the bladder than before 0 assumed",
                "+ leaked 0 assumed",
                "= Corrected urine output unknown: how much irrigant ran in is not known. "
                    + "No flow is charted on line 1 from 08:00 to 10:00 (120 min)",
            ],
            From(lines, "Sat 14 Mar 08:00 to 10:00").Skip(1).Take(7)
        );
        Assert.Contains("CANNOT BE SAID: the date of birth is not known. No weight was charted. Readings do not cover enough of", lines);
        Assert.Contains(
            lines,
            line => line.StartsWith("Note: Irrigant volume unknown. Content of the bag at its end unknown", StringComparison.Ordinal)
        );
    }

    [Fact]
    public void An_output_below_zero_is_printed_below_zero()
    {
        var lines = Words(
            LogOf(
                """{"kind": "drainage-level-read", "at": "08:00", "level": {"value": 100, "unit": "mL"}}""",
                """{"kind": "irrigant-instilled", "from": "08:00", "to": "09:00", "line": "1", "volume": {"value": 500, "unit": "mL"}}""",
                """{"kind": "drainage-level-read", "at": "09:00", "level": {"value": 400, "unit": "mL"}}""",
                """{"kind": "flow-set", "at": "09:00", "line": "1", "rate": {"value": 500, "unit": "mL/h"}}"""
            )
        );
        Assert.Contains("300.0 mL drainage level read 09:00: 400 now − 100 before", lines);
        Assert.Contains("= Corrected urine output −200.0 mL 300 − 500 = −200", lines);
        Assert.Contains("Note: Output below zero.", lines);

        // From empty, 500 mL at 500 mL/h and no urine.
        Assert.Contains("Bladder at its limit: in 1 h, at 10:00", lines);
        Assert.Contains(lines, line => line.Contains("urine taken as 0 mL/h", StringComparison.Ordinal));
    }

    [Fact]
    public void A_weighed_container_shows_its_grams_and_another_route_its_name()
    {
        // (1250 − 70) / 1.006 = 1173.0 mL; 560 mL of it had been read before.
        var lines = Words(
            LogOf(
                """{"kind": "drainage-level-read", "at": "09:00", "level": {"value": 560, "unit": "mL"}}""",
                """
                {"kind": "drainage-weighed", "at": "10:00", "mass": {"value": 1250, "unit": "g"},
                "tare": {"value": 70, "unit": "g"}, "emptied": true}
                """,
                """
                {"kind": "urine-collected", "at": "10:00", "route": "left-nephrostomy", "volume": {"value": 35, "unit": "mL"},
                "how": "graduation"}
                """
            )
        );
        Assert.Contains("613.0 mL drainage weighed 10:00: 1173 now − 560 before; 1173 = (1250 g − 70 g empty) / 1.006 g/mL", lines);
        Assert.Contains("Left nephrostomy, Sat 14 Mar 08:00 to 10:00 (2 h), final", lines);
        Assert.Contains("08:00 10:00 | 0 35 35 | 35 final | 6 to 64 (left nephrostomy)", lines);
    }

    [Fact]
    public void A_flow_that_nobody_measured_is_shown_as_rate_and_time()
    {
        var lines = Words(
            LogOf(
                """
                {"kind": "bag-hung", "at": "08:00", "line": "1", "volume": {"value": 3000, "unit": "mL"},
                "tubingPrime": {"value": 40, "unit": "mL"}}
                """,
                """{"kind": "flow-set", "at": "08:00", "line": "1", "rate": {"value": 500, "unit": "mL/h"}}""",
                """{"kind": "drainage-emptied", "at": "09:30", "volume": {"value": 850, "unit": "mL"}}"""
            )
        );
        Assert.Contains("750.0 mL flow 500 mL/h, 08:00 to 09:30 (1 h 30 min), not measured", lines);

        // 3000 − 40 − 750 = 2210 mL left, 4 h 25 min at 500 mL/h.
        Assert.Contains("Bag on line 1 empty: in 4 h 25 min, at 13:55", lines);
    }

    [Fact]
    public void What_was_spilt_and_what_was_blood_stand_in_the_sum_as_what_they_are()
    {
        // 53 g of clots at 1.06 g/mL: 50 mL.
        var lines = Words(
            LogOf(
                """
                {"kind": "bag-hung", "at": "08:00", "volume": {"value": 3000, "unit": "mL"},
                "tubingPrime": {"value": 0, "unit": "mL"}}
                """,
                """{"kind": "drainage-level-read", "at": "08:00", "level": {"value": 0, "unit": "mL"}}""",
                """{"kind": "irrigant-discarded", "at": "08:30", "volume": {"value": 60, "unit": "mL"}}""",
                """{"kind": "bag-read", "at": "09:00", "remaining": {"value": 2240, "unit": "mL"}}""",
                """{"kind": "blood-removed", "at": "09:00", "mass": {"value": 53, "unit": "g"}}""",
                """{"kind": "drainage-emptied", "at": "09:00", "volume": {"value": 800, "unit": "mL"}}"""
            )
        );
        Assert.Contains("700.0 mL bag read 09:00: 3000 − 0 in the tubing − 60 discarded − 2240 left = 700", lines);
        Assert.Equal(["− blood and clots removed 50.0 mL", "50.0 mL blood removed 09:00"], From(lines, "− blood").Take(2));
        Assert.Contains("= Corrected urine output 50.0 mL 800 − 700 − 50 = 50", lines);
        Assert.Contains("Taken as 0, because nobody measured it: absorbed, leaked, change of the retained volume.", lines);
    }

    [Fact]
    public void A_doubt_says_what_cannot_be_and_what_is_to_be_done()
    {
        var lines = Words(
            LogOf(
                """{"kind": "drainage-level-read", "at": "08:00", "level": {"value": 0, "unit": "mL"}}""",
                """{"kind": "irrigant-instilled", "from": "08:00", "to": "10:00", "volume": {"value": 700, "unit": "mL"}, "how": "pump"}""",
                """{"kind": "drainage-emptied", "at": "10:00", "volume": {"value": 8500, "unit": "mL"}}"""
            )
        );
        Assert.Contains("Sat 14 Mar 08:00 to 10:00 (2 h), preliminary", lines);
        Assert.Contains("A reading is doubted", string.Join(' ', From(lines, "Note: ").Take(3)), StringComparison.Ordinal);
        Assert.Equal(
            "Doubted: 8,500 mL in one container, which holds at most 4,400 mL. It counts in the sum and in no decision until somebody "
                + "confirms or corrects the reading.",
            string.Join(' ', From(lines, "Doubted: ").Take(2))
        );
    }

    [Fact]
    public void A_dwell_is_forecast_from_what_was_left_in()
    {
        var lines = Words(
            LogOf(
                """{"kind": "drainage-level-read", "at": "08:00", "level": {"value": 0, "unit": "mL"}}""",
                """{"kind": "irrigant-instilled", "at": "08:00", "line": "1", "volume": {"value": 60, "unit": "mL"}, "how": "syringe"}""",
                """{"kind": "drain-clamped", "at": "08:00"}""",
                """{"kind": "tolerance-noted", "at": "08:30", "pain": 1}"""
            )
        );
        Assert.Equal(
            ["Sat 14 Mar 08:00 to 08:30: 60 mL of irrigant run in.", "The drain is clamped since 08:00.", "Note: Dwell in progress."],
            From(lines, "Since the last reading").Skip(2).Take(3)
        );

        // 60 left to dwell and 30 of urine assumed: 410 of room at 60 mL/h.
        Assert.Equal(
            [
                "Drainage container 1 to be emptied: cannot be told",
                "The drain is clamped since 08:00: nothing runs into it.",
                "Bladder at its limit: in 6 h 50 min, at 15:20",
            ],
            From(lines, "What comes next").Skip(2).Take(3)
        );
    }

    [Fact]
    public void A_criterion_says_what_it_compared_with_what()
    {
        // 20 mL an hour of a patient of 80 kg: 0.25 mL/kg/h, a little less at its best, for meters read high.
        var hours = Enumerable
            .Range(9, 6)
            .Select(hour =>
                $$$"""
                    {"kind": "urine-collected", "at": "{{{hour:00}}}:00", "route": "urethral-catheter",
                    "volume": {"value": 20, "unit": "mL"}, "how": "graduation"}
                    """
            );
        var weighed = """{"kind": "weight-measured", "at": "08:00", "weight": {"value": 80, "unit": "kg"}, "weightKind": "actual"}""";
        var lines = Words(LogOf([weighed, .. hours], birthDate: "1951-07-30"));
        var stage = From(lines, "KDIGO, stage 1: less than 0.5 mL/kg/h, mean over 6 hours").Take(3).ToList();
        Assert.EndsWith("readings cover 100 % of the time; weight 80 kg", stage[1], StringComparison.Ordinal);
        Assert.Contains("(actual, Sat 14 Mar 08:00).", lines);
        Assert.Contains("MET: the whole 95 % range is less than 0.5 mL/kg/h.", lines);
        Assert.Contains("Probability that it is met, output not being below 0: more than 99.9 %.", lines);
        Assert.DoesNotContain(lines, line => line.StartsWith("Provisional", StringComparison.Ordinal));
        Assert.Contains("MET: in every hour the whole 95 % range is less than 0.5 mL/kg/h.", lines);
    }

    private static IEnumerable<string> From(IEnumerable<string> lines, string heading) =>
        lines.SkipWhile(line => !line.StartsWith(heading, StringComparison.Ordinal));

    /// <summary>The lines that are printed, without what only aligns them.</summary>
    private static List<string> Words(string log)
    {
        using var output = new StringWriter(CultureInfo.InvariantCulture);
        using var errors = new StringWriter(CultureInfo.InvariantCulture);
        var code = Compute.Run([Kept(log)], output, errors);
        Assert.Equal((0, ""), (code, errors.ToString()));
        return
        [
            .. output
                .ToString()
                .Split('\n')
                .Select(line => string.Join(' ', line.Split(' ', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries)))
                .Where(line => line.Length > 0),
        ];
    }

    private static string LogOf(params string[] entries) => LogOf(entries, null);

    /// <summary>A log of an invented morning, its times by the clock alone.</summary>
    private static string LogOf(IEnumerable<string> entries, string? birthDate)
    {
        var episode = JsonNode.Parse(Repo.Read(Log))!["episode"]!.AsObject();
        episode.Remove("end");
        episode.Remove("birthDate");
        if (birthDate is not null)
            episode["birthDate"] = birthDate;
        episode["start"] = At("08:00");
        var all = entries.Select(
            (json, i) =>
            {
                var entry = JsonNode.Parse(json)!.AsObject();
                (entry["source"], entry["id"]) = ("ward-7", $"e{i}");
                foreach (var time in new[] { "at", "from", "to" }.Where(entry.ContainsKey))
                    entry[time] = At((string)entry[time]!);
                return (JsonNode)entry;
            }
        );
        return new JsonObject { ["episode"] = episode.DeepClone(), ["entries"] = new JsonArray([.. all]) }.ToJsonString();
    }

    private static string At(string clock) => $"2026-03-14T{clock}:00+01:00";

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
