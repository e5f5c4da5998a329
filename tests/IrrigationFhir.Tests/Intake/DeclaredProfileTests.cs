using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Intake.Sender;

namespace IrrigationFhir.Tests.Intake;

/// <summary>A sender's own profiles are its own matter: the intake and <c>$validate</c> say so in one voice.</summary>
[Collection(EveningOnTheWard.Name)]
public class DeclaredProfileTests(EveningOnTheWard evening)
{
    private const string VitalSigns = "http://hl7.org/fhir/StructureDefinition/vitalsigns";
    private const string Observation = "http://hl7.org/fhir/StructureDefinition/Observation";
    private const string Elsewhere = "https://elsewhere.example/StructureDefinition/urine-meter";

    public static TheoryData<string, string[]> Declared =>
        new()
        {
            { Observation, [] },
            { Elsewhere, ["unknown-profile"] },
            { VitalSigns, ["cardinality"] }, // it has no category
        };

    [Theory]
    [MemberData(nameof(Declared))]
    public async Task Declaring_a_profile_does_not_block_intake(string profile, string[] warns)
    {
        var (sender, _) = await Of(evening);
        var emptied = Declaring(sender, profile);

        var created = (await sender.Post(emptied, ("Prefer", "return=OperationOutcome"))).Is(201);

        Assert.Equal(warns, Warned(created).Order());
        Assert.Equal(warns.Length + 1, created.Json["issue"]!.AsArray().Count);
    }

    [Theory]
    [MemberData(nameof(Declared))]
    public async Task Intake_and_validate_are_one_judgement_of_a_declared_profile(string profile, string[] warns)
    {
        var (sender, _) = await Of(evening);
        foreach (var mode in new[] { "", "?mode=create", "?mode=update" })
        {
            var said = (await sender.Send(HttpMethod.Post, $"/fhir/Observation/$validate{mode}", Declaring(sender, profile))).Is(200);
            Assert.Equal(warns, Warned(said).Order());
            Assert.DoesNotContain(said.Json["issue"]!.AsArray(), i => (string)i!["severity"]! == "error");
        }
    }

    [Theory]
    [InlineData("400", "cc", "wrong-unit")]
    [InlineData("-40", "mL", "negative")]
    public async Task What_intake_refuses_is_an_error_of_validate_without_a_mode_too(string number, string unit, string code)
    {
        var (sender, _) = await Of(evening);
        var refused = sender.Observation("drainage-emptied", "1", "09:00", Quantity(number, unit));

        var said = (await sender.Send(HttpMethod.Post, "/fhir/Observation/$validate", refused)).Is(200);
        var done = (await sender.Post(refused)).Is(422);

        Assert.Equal([code], done.Codes);
        Assert.Equal(done.Text, said.Text);
    }

    [Fact]
    public async Task Another_fault_of_meta_is_still_refused()
    {
        var (sender, _) = await Of(evening);
        var emptied = Declaring(sender, Elsewhere);
        emptied["meta"]!["security"] = new JsonArray(new JsonObject { ["system"] = "not a uri at all" });

        (await sender.Post(emptied)).Refuses(422, "value", "Observation.meta.security[0].system");
    }

    [Fact]
    public async Task What_we_publish_is_judged_by_the_profile_that_it_is_under()
    {
        var (sender, _) = await Of(evening);
        var ours = sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL"));
        ours["meta"] = new JsonObject { ["profile"] = new JsonArray(Ours.Profiles.CorrectedUrineOutput) };

        var said = (await sender.Send(HttpMethod.Post, "/fhir/Observation/$validate", ours)).Is(200);

        Assert.Contains(said.Json["issue"]!.AsArray(), i => (string)i!["severity"]! == "error");
    }

    private static JsonObject Declaring(Sender sender, string profile)
    {
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Quantity("6", "mL"));
        emptied["meta"] = new JsonObject { ["profile"] = new JsonArray(profile) };
        return emptied;
    }

    private static IEnumerable<string> Warned(Answer answer) =>
        answer.Json["issue"]!
            .AsArray()
            .Where(i => (string)i!["severity"]! == "warning")
            .Select(i => (string)i!["details"]!["coding"]![0]!["code"]!);
}
