using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Entries;

/// <summary>Rates and criteria follow the readings, the weight and the age they rest on, and what no longer holds is taken back.</summary>
[Collection(EveningOnTheWard.Name)]
public sealed class CriteriaPublishedTests(EveningOnTheWard evening)
{
    /// <summary>20 mL an hour, weighed, from 09:00 to 15:00: over six hours 120 mL.</summary>
    private static readonly JsonObject[] Day =
    [
        Irrigated,
        .. Enumerable.Range(9, 7).Select(hour => Emptied($"d{hour}", $"{hour:00}:00", 20).With("how", "weighed")),
    ];

    private static JsonObject Irrigated => Of("irrigant-instilled", "syringe", "08:10", ("volume", Millilitres(1))).With("how", "syringe");

    [Fact]
    public async Task A_weight_charted_late_reaches_every_hour_from_when_it_was_taken()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, Day);
        Assert.Equal(("not-evaluable", "weight-unknown"), (Answer(await Criterion(episode)), Obstacles(await Criterion(episode))));

        // At 14:00, when there was an answer first: (120 − 1) mL / 6 h / 80 kg = 0.248 mL/kg/h
        var changed = (await evening.Service.Record(episode, Weighed("w", "12:30", 80))).Changed;
        var criterion = await Criterion(episode);
        Assert.Equal("met", Answer(criterion));
        Assert.Equal(0.248m, (decimal)Component(criterion, "criterion-value")!["valueQuantity"]!["value"]!);
        Assert.Equal(
            ["13", "14", "15"],
            changed
                .Where(id => id.Contains(".urine-output-rate.", StringComparison.Ordinal))
                .Select(id => id[^6..^4])
                .Order(StringComparer.Ordinal)
        );
        // The next weight takes over at 14:30, and what was said before it stands.
        changed = (await evening.Service.Record(episode, Weighed("w2", "14:30", 60))).Changed;
        Assert.Equal(["15"], changed.Where(id => id.Contains(".urine-output-rate.", StringComparison.Ordinal)).Select(id => id[^6..^4]));
    }

    [Fact]
    public async Task A_late_reading_reaches_the_windows_of_a_day_and_no_further()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(
            episode,
            [Irrigated, Emptied("a", "09:00", 20), .. Enumerable.Range(10, 11).Select(hour => Emptied($"d{hour}", $"{hour}:00", 20))]
        );

        var changed = (await evening.Service.Record(episode, Emptied("late", "08:30", 10))).Changed;

        // All windows of the day, and seven criteria for an adult; not seven for each of its thirteen closings.
        Assert.InRange(changed.Count(id => id.Contains(".urine-output-criterion.", StringComparison.Ordinal)), 0, 7);
        Assert.DoesNotContain(changed, id => id.Contains(".h20260313T", StringComparison.Ordinal));
    }

    [Fact]
    public async Task A_criterion_is_published_when_its_answer_changes_and_not_anew_for_each_hour()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, Weighed("w", "08:05", 80), Irrigated);
        foreach (var hour in Enumerable.Range(9, 10)) // 20 mL an hour from 09:00 to 18:00
            await evening.Service.Record(episode, Emptied($"d{hour}", $"{hour:00}:00", 20).With("how", "weighed"));
        Assert.Equal([("met", "final", "14:00")], await Told(episode));

        // 6 h are covered from 08:00 on at 14:00; then nothing new, until 200 mL at 19:00: 300 mL / 6 h / 80 kg = 0.63 mL/kg/h.
        await evening.Service.Record(episode, Emptied("d19", "19:00", 200).With("how", "weighed"));
        Assert.Equal([("met", "final", "14:00"), ("not-met", "final", "19:00")], await Told(episode));
        Assert.Equal("14:00 to 19:00", Met(await Criterion(episode)));
    }

    [Fact]
    public async Task From_when_to_when_a_criterion_was_met_is_what_is_known_now_and_a_late_entry_corrects_it()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, [Weighed("w", "08:05", 80), .. Day, Emptied("d16", "16:00", 20).With("how", "weighed")]);
        Assert.Equal("14:00 to …", Met(await Criterion(episode)));

        // 190 mL more by 10:00: at 14:00 and 15:00 the window holds 310 mL, 0.65 mL/kg/h; at 16:00 it begins at 10:00 and holds 120.
        await evening.Service.Record(episode, Emptied("d10", "10:00", 210).With("how", "weighed"));
        var criterion = await Criterion(episode);
        Assert.Equal(("met", "corrected", "16:00 to …"), (Answer(criterion), (string)criterion["status"]!, Met(criterion)));
        var provenance = (await evening.Service.Resources(episode, "Provenance"))
            .Single(found => found.Key.Contains(".correction.", StringComparison.Ordinal))
            .Value;
        Assert.Contains($"{episode}.urine-output-criterion.kdigo-1", provenance.ToJsonString(), StringComparison.Ordinal);
        Assert.Equal(["met", "met"], (await Told(episode)).Select(told => told.Answer));
        Assert.Equal(["14:00", "16:00"], (await Told(episode)).Select(told => told.Until));
    }

    [Fact]
    public async Task A_criterion_that_cannot_be_evaluated_is_published_only_while_somebody_can_act_on_the_reason()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, Day);

        // Seven hours: a window of six wants a weight, and longer ones want time, which nobody can chart.
        Assert.Equal(("not-evaluable", "weight-unknown"), (Answer(await Criterion(episode)), Obstacles(await Criterion(episode))));
        Assert.Equal(
            ["kdigo-1", "low-hourly-output"],
            (await evening.Service.Resources(episode)).Keys.Where(IsCriterion).Select(id => id.Split('.')[^1])
        );
    }

    [Fact]
    public async Task An_answer_that_can_no_longer_be_given_is_not_left_standing()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, [Weighed("w", "08:05", 80), .. Day]);

        // Nobody read the irrigant: what the last hour made is not known, so the window is not covered.
        await evening.Service.Record(
            episode,
            BagHung("bag", "15:00", 3000),
            Of("bag-taken-down", "down", "15:30", ("line", "1")),
            Emptied("d16", "16:00", 500)
        );
        var criterion = await Criterion(episode);
        Assert.Equal("not-evaluable", Answer(criterion));
        Assert.Contains("output-unknown", Obstacles(criterion), StringComparison.Ordinal);
        Assert.Equal("14:00 to 16:00", Met(criterion));
    }

    [Fact]
    public async Task Both_readings_and_their_probabilities_stand_in_one_Observation()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, [Weighed("w", "08:05", 80), .. Day]);

        var criterion = await Criterion(episode);
        Assert.Equal("mean-over-window", (string)criterion["method"]!["coding"]![0]!["code"]!);
        Assert.Equal("met", Answer(criterion));
        Assert.Equal("met", (string)Component(criterion, "every-hour-answer")!["valueCodeableConcept"]!["coding"]![0]!["code"]!);
        Assert.NotNull(Component(criterion, "probability-met"));
        Assert.NotNull(Component(criterion, "every-hour-probability-met"));
        Assert.Equal(("14:00 to …", "14:00 to …"), (Met(criterion), Met(criterion, "every-hour-met-period")));
    }

    [Fact]
    public async Task What_was_said_of_a_reading_is_taken_back_with_it()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, [Weighed("w", "08:05", 80), Irrigated, .. Day.Skip(1).Take(6)]); // to 14:00
        Assert.Equal("met", Answer(await Criterion(episode)));
        await evening.Service.Record(episode, Withdrawn("d14"));

        Assert.Equal("entered-in-error", (string)(await Criterion(episode))["status"]!);
        Assert.Equal(
            "entered-in-error",
            (string)(await evening.Service.Resources(episode))[$"Observation/{episode}.urine-output-rate.i20260314T140000"]["status"]!
        );
    }

    [Fact]
    public async Task Another_date_of_birth_brings_the_criteria_of_that_age()
    {
        var identifier = Guid.NewGuid().ToString("N");
        var description = RunningService.Episode(identifier, At("08:00"));
        var episode = await evening.Service.Open(description);
        await evening.Service.Record(episode, [Weighed("w", "08:05", 20), .. Day]);
        Assert.Equal(("not-evaluable", "age-unknown"), (Answer(await Criterion(episode)), Obstacles(await Criterion(episode))));

        await evening.Service.Post("/episodes", description.With("birthDate", "2020-01-01"));

        // Seven hours, and a child's shortest window has eight: one more reading.
        await evening.Service.Record(episode, Emptied("d16", "16:00", 20).With("how", "weighed"));
        Assert.Equal("entered-in-error", (string)(await Criterion(episode))["status"]!);
        Assert.Equal("final", (string)(await Criterion(episode, "prifle-1"))["status"]!);
    }

    [Fact]
    public async Task The_order_of_arrival_makes_no_difference_to_rates_and_criteria()
    {
        JsonObject[] entries = [.. Day, Weighed("w", "10:30", 80), Weighed("w2", "13:30", 78)];
        var (forth, back) = (await Open("1950-01-01"), await Open("1950-01-01"));
        foreach (var entry in entries)
            await evening.Service.Record(forth, entry.DeepClone());
        foreach (var entry in entries.Reverse())
            await evening.Service.Record(back, entry.DeepClone());

        var (one, other) = (await Said(forth), await Said(back));
        Assert.NotEmpty(one);
        Assert.Equal(one, other);
    }

    [Fact]
    public async Task A_weight_that_cannot_be_true_gives_no_rate_per_kilogram()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, [.. Day, Weighed("w", "08:05", 700)]);

        var rate = (await evening.Service.Resources(episode))[$"Observation/{episode}.urine-output-rate.i20260314T150000"];
        Assert.Equal(20m, (decimal)rate["valueQuantity"]!["value"]!);
        var perWeight = Component(rate, "urine-output-rate-per-weight")!;
        Assert.Null(perWeight["valueQuantity"]);
        Assert.Equal("error", (string)perWeight["dataAbsentReason"]!["coding"]![0]!["code"]!);
    }

    [Fact]
    public async Task While_the_bag_still_hangs_a_criterion_is_answered_provisionally_and_in_the_end_when_the_bag_is_read()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, Weighed("w", "08:05", 80), BagHung("bag", "08:10", 3000), Flow("flow", "08:10", 60));
        await evening.Service.Record(episode, [.. Dripping]);

        // 10 mL/h over what ran in, 0.125 mL/kg/h: far below 0.5, whatever a drip of 60 mL/h may be off by.
        var open = await Criterion(episode);
        Assert.Equal(("met", "preliminary"), (Answer(open), (string)open["status"]!));
        Assert.InRange((decimal)Component(open, "probability-met")!["valueQuantity"]!["value"]!, 97.5m, 100m);
        Assert.True((bool)(await Reported(episode, "kdigo", "mean-over-window"))["provisional"]!);

        // 6 h 50 min at 60 mL/h.
        await evening.Service.Record(episode, Of("bag-read", "read", "15:00", ("remaining", Millilitres(2590))));
        var read = await Criterion(episode);
        Assert.Equal(("met", "final"), (Answer(read), (string)read["status"]!));
        Assert.False((bool)(await Reported(episode, "kdigo", "mean-over-window"))["provisional"]!);
    }

    [Fact]
    public async Task Beside_the_answer_stands_its_probability_the_same_everywhere_and_of_every_hour_an_upper_bound()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, [Weighed("w", "08:05", 40), .. Day[..^1]]); // to 14:00

        // 0.496 mL/kg/h on a threshold of 0.5: about as likely below as above.
        var mean = Component(await Criterion(episode), "probability-met")!["valueQuantity"]!;
        var told = (decimal)(await Reported(episode, "kdigo", "mean-over-window"))["probability"]!;
        Assert.Equal((told * 100, "%"), ((decimal)mean["value"]!, (string)mean["code"]!));
        Assert.InRange(told, 0.3m, 0.7m);
        Assert.Null(mean["comparator"]);
        var hours = Component(await Criterion(episode), "every-hour-probability-met")!["valueQuantity"]!;
        Assert.Equal("<=", (string)hours["comparator"]!);
        Assert.InRange((decimal)hours["value"]!, 0m, (decimal)mean["value"]!);
    }

    /// <summary>70 mL an hour, weighed, from 09:00 to 15:00.</summary>
    private static IEnumerable<JsonObject> Dripping =>
        Enumerable.Range(9, 7).Select(hour => Emptied($"d{hour}", $"{hour:00}:00", hour == 9 ? 60 : 70).With("how", "weighed"));

    private async Task<JsonNode> Reported(string episode, string criterion, string reading) =>
        (await evening.Service.Read($"/episodes/{episode}/balance"))["criteria"]!
            .AsArray()
            .First(c => (string)c!["criterion"]! == criterion && (string)c["reading"]! == reading && (int)c["stage"]! == 1)!;

    private Task<string> Open(string born) =>
        evening.Service.Open(RunningService.Episode(Guid.NewGuid().ToString("N"), At("08:00")).With("birthDate", born));

    private async Task<IReadOnlyList<KeyValuePair<string, string>>> Said(string episode) =>
        [.. (await evening.Service.Facts(episode)).Where(fact => fact.Key.Contains(".urine-output-", StringComparison.Ordinal))];

    private async Task<JsonNode> Criterion(string episode, string criterion = "kdigo-1") =>
        (await evening.Service.Resources(episode))[$"Observation/{episode}.urine-output-criterion.{criterion}"];

    private async Task<List<(string Answer, string Status, string Until)>> Told(string episode, string criterion = "kdigo-1") =>
        [
            .. (await evening.Service.Read($"/fhir/Observation/{episode}.urine-output-criterion.{criterion}/_history"))["entry"]!
                .AsArray()
                .Select(entry => entry!["resource"]!)
                .Reverse()
                .Select(told => (Answer(told), (string)told["status"]!, Clock((string)told["effectivePeriod"]!["end"]!))),
        ];

    private static string Clock(string time) => time[11..16];

    /// <summary>From when to when it was met, by the clock; "…" while it is.</summary>
    private static string Met(JsonNode criterion, string reading = "met-period") =>
        string.Join(
            ", ",
            criterion["component"]!
                .AsArray()
                .Where(c => (string)c!["code"]!["coding"]![0]!["code"]! == reading)
                .Select(c => c!["valuePeriod"]!)
                .Select(time => $"{Clock((string)time["start"]!)} to {(time["end"] is { } end ? Clock((string)end!) : "…")}")
        );

    private static JsonObject Weighed(string id, string clock, decimal kilograms) =>
        Of("weight-measured", id, clock, ("weight", new JsonObject { ["value"] = kilograms, ["unit"] = "kg" }), ("weightKind", "actual"));

    private static bool IsCriterion(string address) => address.Contains(".urine-output-criterion.", StringComparison.Ordinal);

    private static string Obstacles(JsonNode criterion) =>
        string.Join(
            ", ",
            criterion["component"]!
                .AsArray()
                .Where(c => (string)c!["code"]!["coding"]![0]!["code"]! == "obstacle")
                .Select(c => (string)c!["valueCodeableConcept"]!["coding"]![0]!["code"]!)
        );

    private static string Answer(JsonNode criterion) => (string)criterion["valueCodeableConcept"]!["coding"]![0]!["code"]!;

    private static JsonNode? Component(JsonNode observation, string slug) =>
        observation["component"]!.AsArray().SingleOrDefault(c => (string)c!["code"]!["coding"]![0]!["code"]! == slug);
}
