using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Tests.Repository;
using IrrigationFhir.Tests.Validation;
using static IrrigationFhir.Tests.Intake.Sender;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>Where the Firely validator or SDK decides otherwise than R4, or not at all: what this service does instead.</summary>
[Collection(EveningOnTheWard.Name)]
public partial class DivergenceTests(EveningOnTheWard evening)
{
    private static Profiles Profiles => Ours.Profiles;

    [Fact]
    public void A_contained_resource_may_point_to_the_one_that_contains_it() =>
        Assert.Empty(
            Judged.Keys(
                Judged.Observation(
                    "corrected-urine-output",
                    output =>
                        output.Contained.Add(
                            new Provenance
                            {
                                Id = "how",
                                Target = [new("#")],
                                Recorded = new DateTimeOffset(2026, 3, 2, 15, 0, 0, TimeSpan.FromHours(1)),
                                Agent = [new() { Who = new() { Display = "Night nurse, an invention" } }],
                            }
                        )
                )
            )
        );

    [Fact]
    public void A_contained_resource_that_nothing_points_to_is_refused() =>
        Assert.Equal(
            ["dom-3"],
            Judged.Keys(
                Judged.Observation(
                    "corrected-urine-output",
                    output =>
                        output.Contained.Add(
                            new Provenance
                            {
                                Id = "how",
                                Target = [new("Observation/another")],
                                Recorded = new DateTimeOffset(2026, 3, 2, 15, 0, 0, TimeSpan.FromHours(1)),
                                Agent = [new() { Who = new() { Display = "Night nurse, an invention" } }],
                            }
                        )
                )
            )
        );

    [Fact]
    public void No_rule_of_R5_on_Bundles_is_among_ours_and_no_Bundle_is_judged_as_a_whole()
    {
        Resource[] known = [.. Definitions.Own(Profiles.CanonicalBase), .. Definitions.OfR4()];
        Assert.DoesNotContain(known.OfType<StructureDefinition>(), structure => structure.Type == "Bundle");
        Assert.DoesNotContain(
            known
                .OfType<StructureDefinition>()
                .SelectMany(structure => structure.Snapshot!.Element)
                .SelectMany(element => element.Constraint),
            constraint => constraint.Key!.StartsWith("bdl-", StringComparison.Ordinal)
        );

        // A notification as R4 has it: its first entry a GET that carries Parameters.
        var notification = new Bundle
        {
            Type = Bundle.BundleType.History,
            Entry =
            [
                new()
                {
                    FullUrl = "urn:uuid:6f0d7b0e-5a5c-4c4e-9d0a-1f4d1c1f8a11",
                    Resource = new Parameters(),
                    Request = new() { Method = Bundle.HTTPVerb.GET, Url = "Subscription/1/$status" },
                    Response = new() { Status = "200" },
                },
            ],
        };
        Assert.Equal(["type"], Judged.Keys(notification));
    }

    public static TheoryData<string> WithLoinc =>
        [
            .. Judged
                .Examples.OfType<Observation>()
                .Where(example => example.Code!.Coding.Any(coding => coding.System == Codes.Systems.Loinc))
                .Select(example => example.Id!.Replace("-example", "", StringComparison.Ordinal)),
        ];

    [Theory, MemberData(nameof(WithLoinc))]
    public void A_LOINC_code_that_does_not_exist_stands_for_none(string slug) =>
        Assert.NotEmpty(
            Judged.Keys(
                Judged.Observation(
                    slug,
                    observation =>
                    {
                        foreach (var coding in observation.Code!.Coding.Where(coding => coding.System == Codes.Systems.Loinc))
                            coding.Code = "99999-9";
                    }
                )
            )
        );

    public static TheoryData<string> WithReason =>
        [.. Judged.Examples.OfType<Observation>().Select(example => example.Id!.Replace("-example", "", StringComparison.Ordinal))];

    [Theory, MemberData(nameof(WithReason))]
    public void A_reason_for_a_missing_value_that_does_not_exist_is_refused(string slug) =>
        Assert.Contains(
            "binding",
            Judged.Keys(
                Judged.Observation(
                    slug,
                    observation =>
                        (observation.Value, observation.DataAbsentReason) = (
                            null,
                            new CodeableConcept(Codes.Systems.DataAbsentReason, "bogus")
                        )
                )
            )
        );

    [Fact]
    public void An_extension_that_changes_the_meaning_and_is_not_known_is_refused() =>
        Assert.Equal(
            ["unknown-extension"],
            Judged.Keys(
                Judged.Observation(
                    "leak-estimated",
                    leak => leak.ModifierExtension.Add(new("https://ward.example/not", new FhirBoolean(true)))
                )
            )
        );

    [Fact]
    public void No_invariant_of_ours_converts_units_or_compares_quantities()
    {
        // 4 'g' = 4000 'mg' is empty in this FHIRPath, and 7 days = 1 week too: an invariant with such a literal would hold of anything.
        var ours = Definitions
            .Own(Profiles.CanonicalBase)
            .OfType<StructureDefinition>()
            .SelectMany(profile => profile.Differential!.Element)
            .SelectMany(element => element.Constraint)
            .ToList();
        Assert.NotEmpty(ours);
        Assert.All(
            ours,
            constraint =>
                Assert.False(QuantityLiteral().IsMatch(Bare(constraint.Expression!)), $"{constraint.Key}: {constraint.Expression}")
        );
        Assert.Matches(QuantityLiteral(), Bare("value < 4 'g'"));
        Assert.Matches(QuantityLiteral(), Bare("duration = 7 days"));

        // An hour that is added to a time makes another time, and times are compared: those of cuo-timed-length are right and just beside.
        static string Bare(string expression) => AddedToATime().Replace(Text().Replace(expression, "''"), "");
    }

    [Fact]
    public void The_invariant_on_units_lists_what_is_published_and_what_an_entry_may_be_sent_in()
    {
        var rule = Definitions
            .Own(Profiles.CanonicalBase)
            .OfType<StructureDefinition>()
            .SelectMany(profile => profile.Differential!.Element)
            .SelectMany(element => element.Constraint)
            .First(constraint => constraint.Key == "ifh-ucum");
        var listed = UnitCode().Matches(rule.Expression!).Select(match => match.Groups[1].Value).ToHashSet();
        string[] measures = ["volume", "flow", "mass", "drop rate", "drop factor"];
        var sent = IrrigationFhir
            .Record.EntryJson.AcceptedUnits.Where(list => measures.Contains(list.Measure))
            .SelectMany(list => list.Units.Keys);

        Assert.Equal(
            Codes.Units.All.Select(unit => unit.Code).Concat(sent).Distinct().Order(StringComparer.Ordinal),
            listed.Order(StringComparer.Ordinal)
        );
    }

    [Fact]
    public void The_snapshots_carry_none_of_the_generators_own_notes() =>
        Assert.All(
            Repo.Files("src/IrrigationFhir/Profiles", "*.json"),
            file => Assert.DoesNotContain("snapshot-base", Repo.Read(file), StringComparison.Ordinal)
        );

    [Theory]
    [InlineData("2026-03-14T08:00:00Z", "2026-03-14")]
    [InlineData("2026-03-14", "2026-03-14")]
    [InlineData("2026-03-14T08:00:00Z", "2026-03-14T09:00")]
    [InlineData("2026-03-14T08:00:00Z", "2026-03-14T09:00:60Z")]
    public async Task A_period_that_ends_on_a_day_is_asked_for_its_second(string start, string end)
    {
        var (sender, episode) = await Of(evening);
        var instilled = sender.Observation("irrigant-instilled", "1", "09:00", Quantity("100", "mL"));
        instilled.Remove("effectiveDateTime");
        instilled["effectivePeriod"] = new JsonObject { ["start"] = start, ["end"] = end };

        (await sender.Post(instilled)).Refuses(422, "bad-time", "Observation.effectivePeriod.end");
        Assert.Empty((await evening.Service.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray());
    }

    [Theory]
    [InlineData("/fhir/Observation", 400)]
    [InlineData("/fhir/Observation/$validate", 400)]
    [InlineData("/fhir", 400)]
    public async Task A_null_character_reaches_no_store(string address, int status)
    {
        var (sender, _) = await Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("400", "mL"));
        emptied["code"]!["text"] = "clear\u0000urine";
        JsonNode body =
            address == "/fhir"
                ? new JsonObject
                {
                    ["resourceType"] = "Bundle",
                    ["type"] = "batch",
                    ["entry"] = new JsonArray(Entry(emptied)),
                }
                : emptied;

        (await sender.Send(HttpMethod.Post, address, body)).Refuses(status, "null-character", null);
    }

    [Theory]
    [InlineData("1000000000000000000000000000000", 422)] // 31 digits: the SDK cannot read them, and no bladder holds as much
    [InlineData("1E400", 422)]
    public async Task A_number_that_no_bladder_holds_is_the_senders_fault_and_not_ours(string number, int status)
    {
        var (sender, _) = await Of(evening);
        var answer = await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity(number, "mL")));
        Assert.InRange((int)answer.Status, 400, status);
    }

    [Theory]
    [InlineData("400.0000000000000000000000000", 400)] // 28 digits, what a decimal holds: one more is refused, for the SDK rounds
    [InlineData("4.0E2", 400)] // the SDK writes 400
    public async Task A_number_is_counted_to_the_last_digit_that_matters(string number, int millilitres)
    {
        var (sender, episode) = await Of(evening);
        var created = (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Quantity(number, "mL")))).Is(201);

        Assert.Equal(millilitres, (decimal)created.Json["valueQuantity"]!["value"]!);
        Assert.Contains(number, (await evening.Service.Get($"/episodes/{episode}/entries")).Text, StringComparison.Ordinal);
    }

    [Fact]
    public void Every_test_that_the_table_of_divergences_names_is_there()
    {
        var tests = typeof(DivergenceTests)
            .Assembly.GetTypes()
            .Where(type => type.Name.EndsWith("Tests", StringComparison.Ordinal))
            .SelectMany(type =>
                type.GetMethods()
                    .Where(method => method.GetCustomAttributes(typeof(FactAttribute), true).Length > 0)
                    .Select(method => $"{type.Name}.{method.Name}")
            )
            .ToHashSet();
        var rows = Repo.Read("src/IrrigationFhir/Profiles/README.md")
            .Split('\n')
            .Where(line =>
                line.StartsWith("| 0.", StringComparison.Ordinal)
                || line.StartsWith("| 6", StringComparison.Ordinal)
                || line.StartsWith("| 8", StringComparison.Ordinal)
            )
            .ToList();
        Assert.InRange(rows.Count, 25, 80);
        Assert.All(
            rows,
            row =>
            {
                var named = NamedTest().Matches(row.Split('|')[^2]).Select(match => match.Groups[1].Value).ToList();
                Assert.True(named.Count > 0, $"no test holds: {row}");
                Assert.All(named, name => Assert.True(tests.Contains(name), $"no test is called {name}: {row}"));
            }
        );
    }

    [GeneratedRegex(@"effective\.start \+ \d+ hours?")]
    private static partial Regex AddedToATime();

    [GeneratedRegex(@"\b\d+(\.\d+)?\s*('|(year|month|week|day|hour|minute|second|millisecond)s?\b)")]
    private static partial Regex QuantityLiteral();

    [GeneratedRegex("'[^']*'")]
    private static partial Regex Text();

    [GeneratedRegex("code = '([^']+)'")]
    private static partial Regex UnitCode();

    [GeneratedRegex(@"`(\w+Tests\.\w+)`")]
    private static partial Regex NamedTest();
}
