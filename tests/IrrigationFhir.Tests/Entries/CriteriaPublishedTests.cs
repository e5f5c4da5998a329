using System.Text.Json.Nodes;
using IrrigationFhir.Fhir;
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
        Assert.Equal("not-evaluable", Answer(await Criterion(episode, 15, "kdigo-1")));

        // 120 mL / 6 h / 80 kg = 0.25 mL/kg/h
        var changed = (await evening.Service.Record(episode, Weighed("w", "12:30", 80))).Changed;
        var criterion = await Criterion(episode, 15, "kdigo-1");
        Assert.Equal("met", Answer(criterion));
        Assert.Equal(0.25m, (decimal)Component(criterion, "criterion-value")!["valueQuantity"]!["value"]!);
        Assert.Equal(
            ["13", "14", "15"],
            changed
                .Where(id => id.Contains(".urine-output-rate.", StringComparison.Ordinal))
                .Select(id => id[^6..^4])
                .Order(StringComparer.Ordinal)
        );
        Assert.Equal("not-evaluable", Answer(await Criterion(episode, 12, "kdigo-1")));

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

        // Its own hour and those of the closings from 09:00 to 20:00, thirteen, with ten results each for an adult.
        Assert.InRange(changed.Count(id => id.Contains(".urine-output-criterion.", StringComparison.Ordinal)), 10, 13 * 10);
    }

    [Fact]
    public async Task An_hour_with_two_closings_has_one_result_which_is_amended()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, [.. Day, Emptied("again", "15:20", 10)]);

        var criterion = await Criterion(episode, 15, "kdigo-1");
        Assert.Equal("amended", (string)criterion["status"]!);
        Assert.Equal("2026-03-14T15:20:00Z", (string)criterion["effectivePeriod"]!["end"]!);
    }

    [Fact]
    public async Task What_was_said_of_a_reading_is_taken_back_with_it()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, Day);
        await evening.Service.Record(episode, Withdrawn("d15"));

        Assert.Equal("entered-in-error", (string)(await Criterion(episode, 15, "kdigo-1"))["status"]!);
        Assert.Equal("final", (string)(await Criterion(episode, 14, "kdigo-1"))["status"]!);
        Assert.Equal(
            "entered-in-error",
            (string)(await evening.Service.Resources(episode))[$"Observation/{episode}.urine-output-rate.i20260314T150000"]["status"]!
        );
    }

    [Fact]
    public async Task Another_date_of_birth_brings_the_criteria_of_that_age()
    {
        var identifier = Guid.NewGuid().ToString("N");
        var description = RunningService.Episode(identifier, At("08:00"));
        var episode = await evening.Service.Open(description);
        await evening.Service.Record(episode, [Weighed("w", "08:05", 20), .. Day]);
        Assert.Equal("not-evaluable", Answer(await Criterion(episode, 15, "kdigo-1"))); // unknown is not adult

        await evening.Service.Post("/episodes", description.With("birthDate", "2020-01-01"));

        Assert.Equal("entered-in-error", (string)(await Criterion(episode, 15, "kdigo-1"))["status"]!);
        Assert.Equal("final", (string)(await Criterion(episode, 15, "prifle-1"))["status"]!);
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
        var open = await Criterion(episode, 15, "kdigo-1");
        Assert.Equal(("met", "preliminary"), (Answer(open), (string)open["status"]!));
        Assert.InRange((decimal)Component(open, "probability-met")!["valueQuantity"]!["value"]!, 97.5m, 100m);
        Assert.True((bool)(await Told(episode, "kdigo", "mean-over-window"))["provisional"]!);

        // 6 h 50 min at 60 mL/h.
        await evening.Service.Record(episode, Of("bag-read", "read", "15:00", ("remaining", Millilitres(2590))));
        var read = await Criterion(episode, 15, "kdigo-1");
        Assert.Equal(("met", "final"), (Answer(read), (string)read["status"]!));
        Assert.False((bool)(await Told(episode, "kdigo", "mean-over-window"))["provisional"]!);
    }

    [Fact]
    public async Task Beside_the_answer_stands_its_probability_the_same_everywhere_and_of_every_hour_an_upper_bound()
    {
        var episode = await Open("1950-01-01");
        await evening.Service.Record(episode, [Weighed("w", "08:05", 40), .. Day]);

        // 0.5 mL/kg/h on a threshold of 0.5: as likely below as above.
        var mean = Component(await Criterion(episode, 15, "kdigo-1"), "probability-met")!["valueQuantity"]!;
        var told = (decimal)(await Told(episode, "kdigo", "mean-over-window"))["probability"]!;
        Assert.Equal((told * 100, "%"), ((decimal)mean["value"]!, (string)mean["code"]!));
        Assert.InRange(told, 0.3m, 0.7m);
        Assert.Null(mean["comparator"]);
        var hours = Component(await Criterion(episode, 15, "kdigo-1", "every-hour"), "probability-met")!["valueQuantity"]!;
        Assert.Equal("<=", (string)hours["comparator"]!);
        Assert.InRange((decimal)hours["value"]!, 0m, (decimal)mean["value"]!);
    }

    /// <summary>70 mL an hour, weighed, from 09:00 to 15:00.</summary>
    private static IEnumerable<JsonObject> Dripping =>
        Enumerable.Range(9, 7).Select(hour => Emptied($"d{hour}", $"{hour:00}:00", hour == 9 ? 60 : 70).With("how", "weighed"));

    private async Task<JsonNode> Told(string episode, string criterion, string reading) =>
        (await evening.Service.Read($"/episodes/{episode}/balance"))["criteria"]!
            .AsArray()
            .First(c => (string)c!["criterion"]! == criterion && (string)c["reading"]! == reading && (int)c["stage"]! == 1)!;

    private Task<string> Open(string born) =>
        evening.Service.Open(RunningService.Episode(Guid.NewGuid().ToString("N"), At("08:00")).With("birthDate", born));

    private async Task<IReadOnlyList<KeyValuePair<string, string>>> Said(string episode) =>
        [.. (await evening.Service.Facts(episode)).Where(fact => fact.Key.Contains(".urine-output-", StringComparison.Ordinal))];

    private async Task<JsonNode> Criterion(string episode, int hour, string criterion, string reading = "mean-over-window") =>
        (await evening.Service.Resources(episode))[
            $"Observation/{episode}.urine-output-criterion.h20260314T{hour:00}0000-{FhirValues.Digest($"{criterion} {reading}", 6)}"
        ];

    private static JsonObject Weighed(string id, string clock, decimal kilograms) =>
        Of("weight-measured", id, clock, ("weight", new JsonObject { ["value"] = kilograms, ["unit"] = "kg" }), ("weightKind", "actual"));

    private static string Answer(JsonNode criterion) => (string)criterion["valueCodeableConcept"]!["coding"]![0]!["code"]!;

    private static JsonNode? Component(JsonNode observation, string slug) =>
        observation["component"]!.AsArray().SingleOrDefault(c => (string)c!["code"]!["coding"]![0]!["code"]! == slug);
}
