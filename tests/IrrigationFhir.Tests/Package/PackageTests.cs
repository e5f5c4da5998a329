using System.Formats.Tar;
using System.IO.Compression;
using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using IrrigationFhir.Analytics;
using IrrigationFhir.Fhir;
using IrrigationFhir.Package;
using IrrigationFhir.Rest;
using IrrigationFhir.Tests.Validation;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Package;

/// <summary>The package is complete, says the same every time, and names nothing of where it was built.</summary>
public partial class PackageTests
{
    private static Profiles Profiles => Tests.Ours.Profiles;

    private static readonly Lazy<(byte[] Bytes, IReadOnlyList<(TarEntry Entry, string Text)> Files)> Built = new(() =>
    {
        var bytes = Build();
        return (bytes, Unpack(bytes));
    });

    [Fact]
    public void Two_builds_give_the_same_bytes() => Assert.Equal(Build(), Build());

    [Fact]
    public void The_files_are_sorted_and_have_one_time_one_mode_and_no_owner()
    {
        var names = Built.Value.Files.Select(file => file.Entry.Name).ToList();
        Assert.Equal("package/package.json", names[0]);
        Assert.Equal(names[1..].Order(StringComparer.Ordinal), names[1..]);
        Assert.Single(
            Built.Value.Files.Select(file => (file.Entry.ModificationTime, file.Entry.Mode, file.Entry.Uid, file.Entry.Gid)).Distinct()
        );
        Assert.Equal(0, Built.Value.Files[0].Entry.Uid);
    }

    [Fact]
    public void The_manifest_says_what_a_package_cache_asks_for()
    {
        var manifest = Json("package/package.json");
        Assert.Equal(
            (FhirPackage.Id, Profiles.Version, Profiles.CanonicalBase, "fhir.ig"),
            ((string)manifest["name"]!, (string)manifest["version"]!, (string)manifest["canonical"]!, (string)manifest["type"]!)
        );
        Assert.Equal("4.0.1", (string)manifest["dependencies"]!["hl7.fhir.r4.core"]!);
        Assert.Equal(["4.0.1"], manifest["fhirVersions"]!.AsArray().Select(version => (string)version!));
        Assert.NotNull(manifest["license"]);
        Assert.NotNull(manifest["url"]);
    }

    [Fact]
    public void Dates_licence_and_dependencies_are_said()
    {
        var definitions = Resources().Select(file => file.Resource).OfType<IConformanceResource>().ToList();
        Assert.All(definitions, definition => Assert.Equal(Profiles.PublishedOn, definition.Date));
        Assert.All(definitions, definition => Assert.Equal("IrrigationFhir", definition.Publisher));
        var guide = Assert.Single(definitions.OfType<ImplementationGuide>());
        Assert.Equal(ImplementationGuide.SPDXLicense.NotOpenSource, guide.License);
        Assert.Contains("LOINC", guide.Copyright, StringComparison.Ordinal);
        Assert.Equal(
            Json("package/package.json")["dependencies"]!.AsObject().Select(needed => $"{needed.Key}#{needed.Value}"),
            guide.DependsOn.Select(needed => $"{needed.PackageId}#{needed.Version}").Prepend("hl7.fhir.r4.core#4.0.1")
        );
    }

    [Theory, InlineData("package/"), InlineData("package/example/")]
    public void The_index_of_a_folder_lists_each_of_its_resources(string folder)
    {
        var there = Resources().Where(file => Path.GetDirectoryName(file.Name) + "/" == folder).ToList();
        Assert.NotEmpty(there);
        Assert.Equal(
            there.Select(file =>
                (Path.GetFileName(file.Name), file.Resource.TypeName, file.Resource.Id, (file.Resource as IConformanceResource)?.Url)
            ),
            Json($"{folder}.index.json")["files"]!
                .AsArray()
                .Where(file => !IsView((string)file!["filename"]!))
                .Select(file => ((string)file!["filename"]!, (string)file["resourceType"]!, (string?)file["id"], (string?)file["url"]))
        );
    }

    [Fact]
    public void Views_lie_in_it_as_they_are_served_and_the_index_lists_them()
    {
        var views = new DomainViews(Profiles).All;
        Assert.Equal(
            views.Select(view => ($"package/ViewDefinition-{view.Id}.json", Encoding.UTF8.GetString(view.Text))).Order(),
            Built.Value.Files.Where(file => IsView(file.Entry.Name)).Select(file => (file.Entry.Name, file.Text)).Order()
        );
        Assert.Equal(
            views.Select(view => (view.View.Url, view.View.Version)).Order(),
            Json("package/.index.json")["files"]!
                .AsArray()
                .Where(file => IsView((string)file!["filename"]!))
                .Select(file => ((string?)file!["url"], (string?)file["version"]))
                .Order()
        );
    }

    [Fact]
    public void The_guide_lists_everything_and_nothing_else()
    {
        var guide = Assert.Single(Resources().Select(file => file.Resource).OfType<ImplementationGuide>());
        Assert.Equal(
            Resources()
                .Where(file => file.Resource is not ImplementationGuide)
                .Select(file => $"{file.Resource.TypeName}/{file.Resource.Id}")
                .Order(StringComparer.Ordinal),
            guide.Definition!.Resource.Select(listed => listed.Reference!.Reference!).Order(StringComparer.Ordinal)
        );
    }

    [Fact]
    public void Every_definition_is_in_it_profiles_with_their_snapshots()
    {
        var definitions = Resources().Select(file => file.Resource).OfType<IConformanceResource>().ToList();
        Assert.All(definitions, definition => Assert.StartsWith(Profiles.CanonicalBase + "/", definition.Url, StringComparison.Ordinal));
        Assert.All(
            definitions.OfType<StructureDefinition>(),
            profile =>
                Assert.True(
                    profile.Snapshot?.Element.Count > (profile.Type == "Extension" ? 4 : 20) && profile.Differential?.Element.Count > 1,
                    profile.Url
                )
        );
        Assert.All(definitions.Cast<IVersionableConformanceResource>(), definition => Assert.Equal(Profiles.Version, definition.Version));
        foreach (
            var expected in Definitions
                .Own(Profiles.CanonicalBase)
                .Cast<IConformanceResource>()
                .Select(own => own.Url)
                .Concat(OwnSearchParameters.All(Profiles).Select(own => own.Url))
        )
            Assert.Contains(definitions, definition => definition.Url == expected);
        Assert.Contains(definitions, definition => definition is ConceptMap);
        Assert.Equal(
            Topics.All.Select(topic => topic.Slug).Order(StringComparer.Ordinal),
            Resources().Select(file => file.Resource).OfType<Basic>().Select(topic => topic.Id!)
        );
        Assert.Equal(CapabilityStatementKind.Requirements, Assert.Single(definitions.OfType<CapabilityStatement>()).Kind);
    }

    [Fact]
    public void Every_profile_has_an_example_which_keeps_it()
    {
        var examples = Resources()
            .Where(file => file.Name.StartsWith("package/example/", StringComparison.Ordinal))
            .Select(file => file.Resource)
            .ToList();
        Assert.All(examples, example => Assert.Empty(Judged.Validator.Validate(example)));
        Assert.Equal(
            Resources()
                .Select(file => file.Resource)
                .OfType<StructureDefinition>()
                .Where(profile => profile.Type != "Extension")
                .Select(profile => profile.Url)
                .Order(StringComparer.Ordinal),
            examples.Select(example => example.Meta!.Profile.Single()).Order(StringComparer.Ordinal)
        );
    }

    [Fact]
    public void Everything_of_ours_that_a_definition_refers_to_is_in_it()
    {
        var urls = Resources()
            .Select(file => file.Resource)
            .OfType<IConformanceResource>()
            .Select(definition => definition.Url!)
            .Concat(
                Resources()
                    .Select(file => file.Resource)
                    .OfType<Basic>()
                    .SelectMany(topic => topic.Extension)
                    .Select(part => part.Value)
                    .OfType<FhirUri>()
                    .Select(url => url.Value!)
            )
            .ToHashSet();
        foreach (var (name, text) in Built.Value.Files.Select(file => (file.Entry.Name, file.Text)))
        {
            Assert.All(
                Ours().Matches(text).Select(match => match.Value),
                url => Assert.True(urls.Contains(url), $"{name} refers to {url}")
            );
        }
    }

    [Fact]
    public void Nothing_tells_where_it_was_built_or_sends_a_reader_to_a_registry() =>
        Assert.All(
            Built.Value.Files,
            file =>
            {
                Assert.DoesNotMatch(@"(?<![\w/.:])/(?:home|root|tmp|work|usr|Users|var)/", file.Text);
                Assert.DoesNotMatch(@"registry\.|packages\.(?:fhir|simplifier)|npmjs|build\.fhir\.org", file.Text);
            }
        );

    [Fact]
    public async System.Threading.Tasks.Task It_is_served_with_an_entity_tag_and_not_sent_twice()
    {
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        using var first = await ward.Http.GetAsync("/fhir/package.tgz");
        Assert.Equal((HttpStatusCode.OK, "application/gzip"), (first.StatusCode, first.Content.Headers.ContentType!.MediaType));
        Assert.Equal(Built.Value.Bytes, await first.Content.ReadAsByteArrayAsync());

        using var again = new HttpRequestMessage(HttpMethod.Get, "/fhir/package.tgz")
        {
            Headers = { IfNoneMatch = { first.Headers.ETag! } },
        };
        using var known = await ward.Http.SendAsync(again);
        Assert.Equal(HttpStatusCode.NotModified, known.StatusCode);
        Assert.Empty(await known.Content.ReadAsByteArrayAsync());

        var statement = await ward.Read("/fhir/metadata");
        Assert.Equal(Profiles.RequiredCapabilities, (string)statement["instantiates"]![0]!);
        Assert.Equal(Profiles.Guide, (string)statement["implementationGuide"]![0]!);
    }

    [Fact]
    public void One_command_writes_it_and_prints_its_checksum()
    {
        var file = Path.Combine(Directory.CreateTempSubdirectory("package-").FullName, "p.tgz");
        using var said = new StringWriter();
        Assert.Equal(0, PackageApi.Write([file], said, TextWriter.Null));
        Assert.Equal(Built.Value.Bytes, File.ReadAllBytes(file));
        Assert.Equal(
            $"{Convert.ToHexStringLower(System.Security.Cryptography.SHA256.HashData(Built.Value.Bytes))}  {file}",
            said.ToString().Trim()
        );
        Assert.Equal(2, PackageApi.Write([], TextWriter.Null, TextWriter.Null));
    }

    private static byte[] Build()
    {
        using var app = Service.Build([]);
        return app.Services.GetRequiredService<FhirPackage>().Bytes.ToArray();
    }

    private static List<(TarEntry, string)> Unpack(byte[] bytes)
    {
        var files = new List<(TarEntry, string)>();
        using var tar = new TarReader(new GZipStream(new MemoryStream(bytes), CompressionMode.Decompress));
        while (tar.GetNextEntry(copyData: true) is { } entry)
            files.Add((entry, new StreamReader(entry.DataStream!, Encoding.UTF8).ReadToEnd()));
        return files;
    }

    private static JsonNode Json(string name) => JsonNode.Parse(Built.Value.Files.Single(file => file.Entry.Name == name).Text)!;

    // The strict reader refuses what R4 does not allow: a missing element, a code outside a required list, a malformed value.
    private static IEnumerable<(string Name, Resource Resource)> Resources() =>
        Built
            .Value.Files.Where(file =>
                Path.GetFileName(file.Entry.Name) is not ("package.json" or ".index.json") && !IsView(file.Entry.Name)
            )
            .Select(file => (file.Entry.Name, FhirJsonDeserializer.DEFAULT.Deserialize<Resource>(file.Text)));

    // ViewDefinition is no type of R4: no reader of R4 knows it.
    private static bool IsView(string name) => Path.GetFileName(name).StartsWith("ViewDefinition-", StringComparison.Ordinal);

    [GeneratedRegex(
        @"https://irrigationfhir\.example/fhir/(?:StructureDefinition|ValueSet|CodeSystem|SearchParameter|ConceptMap|"
            + @"CapabilityStatement|SubscriptionTopic|ImplementationGuide)/[\w.-]+"
    )]
    private static partial Regex Ours();
}
