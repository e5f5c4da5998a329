using System.Net;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Demo;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Repository;
using IrrigationFhir.Tests.Validation;

namespace IrrigationFhir.Tests.Examples;

/// <summary>The folder <c>fhir-examples</c>: what it shows is what the service does.</summary>
public class ExamplesTests
{
    private static Profiles Profiles => Ours.Profiles;

    private const string Folder = "fhir-examples";
    private const string Requests = $"{Folder}/a-night";

    public static TheoryData<string> Names => [.. Stories.All.Select(story => story.Name)];

    [Theory, MemberData(nameof(Names))]
    public async System.Threading.Tasks.Task Every_example_is_what_the_service_says_of_its_story(string name)
    {
        var story = Stories.All.Single(s => s.Name == name);
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var episode = await ward.Open(story.Episode.AsObject());
        foreach (var request in story.Requests)
            await ward.Record(episode, request is JsonArray entries ? [.. entries.Select(e => e!)] : [request]);
        if (story.Closed is { } closed)
            Assert.Equal(HttpStatusCode.OK, (await ward.Post("/episodes", closed)).Status);

        var resources = await ward.Resources(episode, "Observation", "Procedure", "Provenance", "Flag");
        foreach (var example in Stories.Examples.Where(e => e.Story == story))
        {
            var found = Assert.Single(resources, r => r.Key.StartsWith(example.Resource(episode), StringComparison.Ordinal)).Value;
            Repo.Agrees($"{Folder}/{example.File}", Repo.Text(found).Replace(episode, story.Name, StringComparison.Ordinal));
        }
    }

    [Fact]
    public void Every_resource_in_the_folder_keeps_its_profile_and_lies_in_the_folder_of_that_name()
    {
        var profiles = Judged.Validator;
        var slugs = Definitions
            .Own(Profiles.CanonicalBase)
            .OfType<StructureDefinition>()
            .Where(p => p.Type != "Extension")
            .ToDictionary(p => p.Url!, p => p.Id!);
        var shown = new HashSet<string>();
        foreach (var file in Resources())
        {
            var resource = FhirJson.Read<Resource>(Repo.Read(file));
            var claimed = Assert.Single(resource.Meta!.Profile!, profile => profile != Profiles.CoreBodyWeight)!;
            Assert.True(slugs.TryGetValue(claimed, out var slug), $"{file}: {claimed} is no profile of this build");
            Assert.True(file.Split('/')[1] == slug, $"{file} is an example of {slug}");
            Assert.True(profiles.Validate(resource) is { Count: 0 }, $"{file}: {string.Join("; ", profiles.Validate(resource))}");
            shown.Add(slug);
        }

        Assert.Equal(slugs.Values.Order(StringComparer.Ordinal), shown.Order(StringComparer.Ordinal));
    }

    [Fact]
    public void No_example_is_left_over_from_a_story_that_is_no_longer_told() =>
        Assert.Equal(
            Stories.Examples.Select(e => $"{Folder}/{e.File}").Append($"{Folder}/handover/composition.json").Order(StringComparer.Ordinal),
            Resources()
        );

    /// <summary>
    /// The night is written below and posted by README.md; what devices send is posted by the tests of the intake, what subscribers send
    /// and are sent has its own, and so has the example subscriber; the handover is read by its own; requests, the questions of data
    /// people and the example client have tests of their own.
    /// </summary>
    [Fact]
    public void Nothing_lies_in_the_folder_that_no_test_writes_or_runs() =>
        Assert.Equal(
            Stories
                .Examples.Select(e => e.File)
                .Concat(SubscriptionExamplesTests.Files)
                .Concat([
                    "README.md",
                    "a-night/correction.json",
                    "a-night/entries.ndjson",
                    "a-night/episode.json",
                    "a-night/late-entry.json",
                    "a-night/log.json",
                    "handover/composition.json",
                    "handover/note.txt",
                    "handover/note-long.txt",
                    "intake/bladder-scan.json",
                    "intake/concept-map.json",
                    "intake/transaction.json",
                    "subscriber/subscriber.cs",
                ])
                .Order(StringComparer.Ordinal),
            Repo.Files(Folder)
                .Select(file => file[(Folder.Length + 1)..])
                .Where(file =>
                    !file.StartsWith("requests/", StringComparison.Ordinal)
                    && !file.StartsWith("analytics/", StringComparison.Ordinal)
                    && !file.StartsWith("access/", StringComparison.Ordinal)
                )
        );

    [Fact]
    public void The_requests_of_the_night_are_those_of_the_demo()
    {
        var charted = InventedNight.AsCharted().SelectMany(request => request).Select(entry => entry!.DeepClone().AsObject()).ToList();
        var late = charted.Single(e => e["kind"]!.GetValue<string>() == "leak-estimated");
        var correction = charted.Last(e => e["id"]!.GetValue<string>() == "night-emptying-2");

        Repo.Agrees($"{Requests}/episode.json", Repo.Text(InventedNight.Episode()));
        Repo.Agrees($"{Requests}/entries.ndjson", string.Concat(charted.Where(e => e != late && e != correction).Select(Line)));
        Repo.Agrees($"{Requests}/late-entry.json", Repo.Text(late));
        Repo.Agrees($"{Requests}/correction.json", Repo.Text(correction));
        Repo.Agrees(
            $"{Requests}/log.json",
            Repo.Text(
                new JsonObject
                {
                    ["episode"] = InventedNight.Episode(InventedNight.Morning),
                    ["entries"] = new JsonArray([.. charted.Select(e => e.DeepClone())]),
                }
            )
        );
    }

    /// <summary>What is served; the other folders hold what is sent.</summary>
    internal static IEnumerable<string> Resources() =>
        Repo.Files(Folder, "*.json")
            .Where(f => f.Split('/')[1] is not ("a-night" or "intake" or "requests" or "subscription" or "notification" or "access"));

    private static string Line(JsonObject entry) =>
        Repo.Text(entry).Replace("\n", "", StringComparison.Ordinal).Replace("  ", "", StringComparison.Ordinal) + "\n";
}
