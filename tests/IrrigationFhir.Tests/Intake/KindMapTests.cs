using System.Text;
using IrrigationFhir.Demo;
using IrrigationFhir.Fhir;
using IrrigationFhir.Intake;
using IrrigationFhir.Tests.Repository;
using Microsoft.Extensions.Configuration;

namespace IrrigationFhir.Tests.Intake;

/// <summary>What codes say, and the examples of what is sent.</summary>
public class KindMapTests
{
    private static Profiles Profiles => Ours.Profiles;

    private const string Folder = "fhir-examples/intake";

    [Fact]
    public void The_built_in_map_is_the_one_that_is_shown() =>
        Repo.Agrees($"{Folder}/concept-map.json", Definitions.EntryKindMap(Profiles.CanonicalBase));

    [Fact]
    public void The_built_in_map_knows_every_kind_that_can_be_observed_by_our_own_code()
    {
        var map = KindMap.Parse(Definitions.EntryKindMap(Profiles.CanonicalBase), "built-in", Profiles);
        Assert.All(KindMap.Observed, kind => Assert.Equal(kind, map.Find(Profiles.CodeSystem("entry-kind"), kind)!.Kind));
        Assert.Null(map.Find(Profiles.CodeSystem("entry-kind"), "order-set"));
        Assert.Null(map.Find(Codes.Systems.Loinc, "no-such"));
    }

    [Fact]
    public void A_counter_and_an_amount_are_different_kinds()
    {
        var map = KindMap.Parse(Definitions.EntryKindMap(Profiles.CanonicalBase), "built-in", Profiles);
        Assert.Equal(
            ("pump-total-read", "irrigant-instilled", "drainage-level-read"),
            (
                map.Find(Codes.Systems.Mdc, "157993")!.Kind,
                map.Find(Codes.Systems.Loinc, "9026-6")!.Kind,
                map.Find(Codes.Systems.Mdc, "157740")!.Kind
            )
        );
    }

    private static string Map(string source, string element) =>
        $$"""
            {
              "resourceType": "ConceptMap",
              "status": "active",
              "group": [{"source": "{{source}}", "target": "{{Profiles.CodeSystem("entry-kind")}}", "element": [{{element}}]}]
            }
            """;

    [Theory]
    [InlineData("""{"code": "x", "target": [{"code": "urine", "equivalence": "equal"}]}""", "one of bag-hung")]
    [InlineData(
        """
            {"code": "x", "target": [
              {"code": "bag-hung", "equivalence": "equal", "product": [{"property": "https://x.example#colours", "value": "y"}]}
            ]}
            """,
        "weightKind"
    )]
    [InlineData(
        """{"code": "x", "target": [{"code": "bag-hung", "equivalence": "equal"}, {"code": "bag-read", "equivalence": "equal"}]}""",
        "one is expected"
    )]
    [InlineData("""{"code": "x"}""", "at least one")]
    public void A_map_that_cannot_be_used_says_why(string element, string says)
    {
        var map = Map("https://x.example", element);
        Assert.Contains(says, Assert.Throws<SettingsFault>(() => KindMap.Parse(map, "a map", Profiles)).Message, StringComparison.Ordinal);
    }

    [Fact]
    public void A_setting_out_of_range_stops_the_start()
    {
        IConfiguration With(string key, string value) => new ConfigurationManager { [key] = value };
        static string Fault(Action read) => Assert.Throws<SettingsFault>(read).Message;
        Assert.Contains("1 to 10000", Fault(() => IntakeSettings.Read(With("Intake:MostBundleEntries", "0"))), StringComparison.Ordinal);
        Assert.Contains("1 to 4096", Fault(() => IntakeSettings.Read(With("Intake:MostAtOnce", "5000"))), StringComparison.Ordinal);
        Assert.Contains(
            "nowhere.json",
            Fault(() => KindMap.Read(With("Intake:ConceptMap", "nowhere.json"), Profiles)),
            StringComparison.Ordinal
        );
    }

    [Fact]
    public async Task A_site_sets_its_own_map()
    {
        var folder = Directory.CreateTempSubdirectory("map-").FullName;
        var path = Path.Combine(folder, "map.json");
        const string scanned = """{"code": "BV", "target": [{"code": "bladder-scanned", "equivalence": "equivalent"}]}""";
        await File.WriteAllTextAsync(path, Map("https://scanner.example/codes", scanned));
        await using var ward = RunningService.Start(EveningOnTheWard.Now, null, ("Intake:ConceptMap", path));
        await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        var sender = new Sender(ward, "patient of stay");

        (await sender.Post(sender.Coded("https://scanner.example/codes", "BV", "1", "09:00", Sender.Quantity("20", "mL")))).Is(201);
        (await sender.Post(sender.Coded(Codes.Systems.Loinc, "15309-8", "2", "09:00", Sender.Quantity("20", "mL")))).Refuses(
            422,
            "unknown-code",
            "Observation.code"
        );
        Directory.Delete(folder, recursive: true);
    }

    [Theory]
    [InlineData("bladder-scan.json", "/fhir/Observation", 201)]
    [InlineData("transaction.json", "/fhir", 200)]
    public async Task Every_example_of_what_is_sent_is_taken(string file, string address, int status)
    {
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        await ward.Open(InventedNight.Episode());
        var sender = new Sender(ward, "");
        var answer = (await sender.Send(HttpMethod.Post, address, Encoding.UTF8.GetBytes(Repo.Read($"{Folder}/{file}")), null)).Is(status);
        if (status == 200)
            Assert.All(answer.Json["entry"]!.AsArray(), e => Assert.Equal("201 Created", (string)e!["response"]!["status"]!));
    }
}
