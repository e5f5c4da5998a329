using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Tests.Validation;

namespace IrrigationFhir.Tests.Fhir;

public class CodesTests
{
    private static Profiles Profiles => Ours.Profiles;
    private static Codes Codes => Ours.Codes;

    [Fact]
    public void Corrected_urine_output_is_coded_for_laboratories_for_clinicians_and_for_us_in_this_order()
    {
        Assert.Equal(["9187-6", "364201005", "urine-output-corrected"], Codes.CorrectedUrineOutput().Coding.Select(coding => coding.Code));
        Assert.Equal(["9188-4", "urine-output-hour"], Codes.CorrectedUrineOutput("clock-hour", 1).Coding.Select(coding => coding.Code));
        Assert.Equal(["9189-2", "urine-output-shift"], Codes.CorrectedUrineOutput("shift", 8).Coding.Select(coding => coding.Code));
        Assert.Equal(["9191-8", "urine-output-shift"], Codes.CorrectedUrineOutput("shift", 12).Coding.Select(coding => coding.Code));
        Assert.Equal(["9192-6", "urine-output-day"], Codes.CorrectedUrineOutput("local-day", 24).Coding.Select(coding => coding.Code));
        Assert.Equal(["urine-output-day"], Codes.CorrectedUrineOutput("local-day", null).Coding.Select(coding => coding.Code));
        Assert.Throws<ArgumentOutOfRangeException>(() => Codes.CorrectedUrineOutput("shift", 10));
        Assert.Throws<ArgumentOutOfRangeException>(() => Codes.CorrectedUrineOutput("closed-interval", null));
        Assert.Throws<ArgumentOutOfRangeException>(() => Codes.CorrectedUrineOutputUnit(10));
    }

    [Fact]
    public void Mixed_drainage_is_never_coded_as_urine()
    {
        var drainage = Codes.BladderDrainage().Coding;

        Assert.Equal(["bladder-drainage-total", "251843005", "157740"], drainage.Select(coding => coding.Code));
        Assert.DoesNotContain(drainage, coding => coding.System == Codes.Systems.Loinc);
    }

    [Theory]
    [InlineData("void", "urine-collected")]
    [InlineData("suprapubic-catheter", "urine-collected")]
    [InlineData("straight-catheter", "9195-9")]
    [InlineData("left-nephrostomy", "79549-2")]
    public void Urine_by_another_route_has_the_code_of_that_route(string route, string code)
    {
        Assert.Equal(code, Codes.UrineCollected(route).Coding[0].Code);
        Assert.Empty(
            Judged.Keys(
                Judged.Observation(
                    "urine-collected",
                    urine =>
                    {
                        urine.Code = Codes.UrineCollected(route);
                        urine.Method = Codes.UrineRoute(route);
                    }
                )
            )
        );
    }

    [Theory]
    [InlineData("continuous", "BLADIRRC")]
    [InlineData("tidal", "BLADIRRT")]
    [InlineData("intermittent-manual", "BLADIRR")]
    [InlineData("open", "BLADIRR")]
    [InlineData("closed", "BLADIRR")]
    [InlineData("instillation-dwell", "BLADINSTL")]
    public void An_irrigation_says_its_kind_in_our_words_and_in_a_standard_vocabulary(string kind, string route)
    {
        var irrigation = Judged.Example<Procedure>("bladder-irrigation");
        irrigation.Code = Codes.IrrigationProcedure(kind);
        irrigation.BodySite = [Codes.Bladder()];

        Assert.Equal(["78533007", kind, route], irrigation.Code.Coding.Select(coding => coding.Code));
        Assert.Empty(Judged.Keys(irrigation));
    }

    [Fact]
    public void A_pump_driven_flow_and_a_drip_pass_their_profile()
    {
        Assert.Empty(
            Judged.Keys(
                Judged.Observation(
                    "irrigant-flow-rate",
                    flow =>
                    {
                        flow.Code = Codes.IrrigantFlowRate(pumpDriven: true);
                        flow.Value = Codes.Quantity(300, Codes.Units.MillilitrePerHour);
                        flow.Method = Codes.MeasuringWay("pump");
                        flow.Component.Clear();
                    }
                )
            )
        );
        Assert.Empty(
            Judged.Keys(
                Judged.Observation(
                    "irrigant-flow-rate",
                    flow =>
                    {
                        flow.Code = Codes.IrrigantDripRate();
                        flow.Value = Codes.Quantity(100, Codes.Units.DropsPerMinute);
                    }
                )
            )
        );
    }

    [Fact]
    public void Every_code_system_of_ours_is_spoken_with_the_display_it_defines()
    {
        var spoken = new Dictionary<string, Func<string, CodeableConcept>>
        {
            ["irrigation-observation"] = Codes.Observation,
            ["output-window"] = Codes.OutputWindow,
            ["measuring-way"] = Codes.MeasuringWay,
            ["urine-route"] = Codes.UrineRoute,
            ["balance-term"] = Codes.BalanceTerm,
            ["caveat"] = slug => Codes.Caveat(slug, null),
            ["entry-kind"] = Codes.EntryKind,
            ["irrigation-kind"] = slug => new() { Coding = [Codes.IrrigationProcedure(slug).Coding[1]] },
            ["calculation-method"] = _ => Codes.DrainageMinusIrrigant(),
            ["urine-output-criterion"] = slug => new() { Coding = [Codes.UrineOutputCriterion(slug).Coding[1]] },
            ["criterion-answer"] = Codes.CriterionAnswer,
            ["criterion-reading"] = Codes.CriterionReading,
            ["criterion-obstacle"] = Codes.CriterionObstacle,
            ["weight-kind"] = Codes.WeightKind,
            ["clot-burden"] = slug => new() { Coding = [Codes.Clots(slug).Coding[^1]] },
            ["drainage-clarity"] = slug => new() { Coding = [Codes.Clarity(slug).Coding[^1]] },
            ["tolerance"] = Codes.Tolerance,
            ["handover-section"] = Codes.Handover,
            ["run-outcome"] = slug => Codes.RunOutcome(slug, ""),
            ["flag-category"] = Codes.FlagCategory,
            ["irrigation-flag"] = slug => new() { Coding = [Codes.Flag(slug, "").Coding[0]] },
        };

        // Properties of an entry are named by a concept map alone, never by a resource.
        var systems = Definitions.Own(Profiles.CanonicalBase).OfType<CodeSystem>().Where(system => system.Id != "entry-property").ToList();
        Assert.Equal(systems.Select(system => system.Id!).Order(StringComparer.Ordinal), spoken.Keys.Order(StringComparer.Ordinal));

        foreach (var system in systems)
        {
            foreach (var concept in system.Concept)
            {
                var coding = Assert.Single(spoken[system.Id!](concept.Code!).Coding);
                Assert.Equal((system.Url, concept.Code, concept.Display), (coding.System, coding.Code, coding.Display));
            }
        }
    }

    [Fact]
    public void A_slug_that_no_code_system_defines_is_refused()
    {
        Assert.Throws<ArgumentOutOfRangeException>(() => Codes.Caveat("all-is-well", null));
        Assert.Throws<ArgumentOutOfRangeException>(() => Codes.DataAbsent("masked"));
    }

    [Fact]
    public void Each_call_gives_an_object_of_its_own()
    {
        Codes.BladderDrainage().Coding.Clear();

        Assert.Equal(3, Codes.BladderDrainage().Coding.Count);
    }

    [Fact]
    public void Codes_whose_full_name_is_yet_to_be_checked_are_listed() =>
        Assert.Equal(["9026-6", "9025-8", "9188-4", "9189-2", "9191-8"], Codes.PartlyVerified.Select(coding => coding.Code));

    [Fact]
    public void The_canonical_base_moves_every_url_of_ours()
    {
        var moved = Definitions.Own("https://ward.example/fhir").OfType<IConformanceResource>().Select(definition => definition.Url);
        Assert.All(moved, url => Assert.StartsWith("https://ward.example/fhir/", url, StringComparison.Ordinal));

        var ward = new Vocabulary("https://ward.example/fhir/");
        Assert.Equal("https://ward.example/fhir/StructureDefinition/handover", ward.Profiles.Handover);
        Assert.Equal("https://ward.example/fhir/CodeSystem/tolerance", ward.Codes.Tolerance("well").Coding.Single().System);
        Assert.StartsWith(Profiles.DefaultCanonicalBase, Codes.Tolerance("well").Coding.Single().System, StringComparison.Ordinal);
        Assert.Throws<ArgumentException>(() => new Vocabulary("ward"));
        Assert.Throws<ArgumentException>(() => new Vocabulary("https://ward.example/fhir?x=1"));
        Assert.Throws<ArgumentException>(() => new Vocabulary("https://ward.example/a b"));
    }
}
