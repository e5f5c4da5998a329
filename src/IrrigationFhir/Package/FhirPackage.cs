using System.Formats.Tar;
using System.IO.Compression;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Hl7.Fhir.Utility;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;

namespace IrrigationFhir.Package;

/// <summary>
/// Everything that defines what the service says, as one FHIR NPM package: profiles with snapshots, terminology, search parameters, topics
/// to subscribe to, the concept map, what the service can do, examples, and a guide that lists them.
/// </summary>
/// <remarks>
/// The same build and canonical base give the same bytes, so that a checksum can be published: sorted names, one time for all files, no
/// owner.
/// </remarks>
internal sealed class FhirPackage(Vocabulary vocabulary, IEnumerable<CapabilityClaim> claims, IReadOnlyList<PublishedDefinition> others)
{
    /// <summary>The package's id.</summary>
    public const string Id = "irrigationfhir.profiles";

    /// <summary>The name of the file.</summary>
    public const string FileName = $"{Id}-{Profiles.Version}.tgz";

    /// <summary>Guides whose definitions are referred to, beside R4 itself.</summary>
    private static readonly (string Package, string Version, string Guide)[] Dependencies =
    [
        // Topics to subscribe to.
        (
            "hl7.fhir.uv.subscriptions-backport",
            "1.1.0",
            "http://hl7.org/fhir/uv/subscriptions-backport/ImplementationGuide/hl7.fhir.uv.subscriptions-backport"
        ),
    ];

    // What npm itself gives the files of every package.
    private static readonly DateTimeOffset Time = new(1985, 10, 26, 8, 15, 0, TimeSpan.Zero);
    private static readonly JsonSerializerOptions Readable = new() { WriteIndented = true, NewLine = "\n" };

    private readonly Lazy<byte[]> bytes = new(() =>
        Pack(
            Files(
                Definitions(vocabulary.Profiles, claims),
                Fhir.Definitions.Examples(vocabulary.Profiles.CanonicalBase),
                others,
                vocabulary.Profiles
            )
        )
    );

    /// <summary>The package: a gzipped tape archive.</summary>
    public ReadOnlyMemory<byte> Bytes => bytes.Value;

    /// <summary>SHA-256 of the package, in hexadecimal.</summary>
    public string Checksum => Convert.ToHexStringLower(SHA256.HashData(bytes.Value));

    /// <summary>The definitions in it, in order of type and id, without the guide that lists them.</summary>
    public static IReadOnlyList<Resource> Definitions(Profiles profiles, IEnumerable<CapabilityClaim> claims)
    {
        Resource[] all =
        [
            .. Fhir.Definitions.Own(profiles.CanonicalBase),
            ProblemCodes.ToCodeSystem(profiles),
            .. OwnSearchParameters.All(profiles),
            FhirJsonDeserializer.DEFAULT.Deserialize<ConceptMap>(Fhir.Definitions.EntryKindMap(profiles.CanonicalBase)),
            CapabilityStatements.Required(profiles, claims),
            .. Topics.All.Select(topic => SubscriptionTopicMapper.ToBasic(topic, profiles)),
        ];
        foreach (var definition in all.OfType<IVersionableConformanceResource>())
        {
            definition.Version ??= Profiles.Version;
            definition.Date ??= Profiles.PublishedOn;
            definition.Publisher ??= "IrrigationFhir";
        }

        return [.. all.OrderBy(FileOf, StringComparer.Ordinal)];
    }

    /// <summary>The guide: every resource of the package, by name.</summary>
    public static ImplementationGuide Guide(IReadOnlyList<Resource> definitions, IReadOnlyList<Resource> examples, Profiles profiles) =>
        new()
        {
            Id = Id,
            Url = profiles.Guide,
            Version = Profiles.Version,
            Name = "IrrigationFhir",
            Title = "Irrigation of urinary catheters: intake, output and corrected urine output",
            Status = PublicationStatus.Active,
            Experimental = false,
            Publisher = "IrrigationFhir",
            Description =
                "Profiles and terminology of irrigations of urinary catheters: "
                + "what ran in, what drained, what the kidneys made of it, and how surely. "
                + "Numbers prompt a person to look at the patient; they diagnose nothing and command nothing.",
            Copyright = Codes.Notice,
            Date = Profiles.PublishedOn,
            PackageId = Id,
            // Whoever deploys it asks for its licence; the published vocabularies in it have theirs, which Copyright names.
            License = ImplementationGuide.SPDXLicense.NotOpenSource,
            DependsOn =
            [
                .. Dependencies.Select(needed => new ImplementationGuide.DependsOnComponent
                {
                    ElementId = needed.Package.Split('.')[^1],
                    Uri = needed.Guide,
                    PackageId = needed.Package,
                    Version = needed.Version,
                }),
            ],
            FhirVersion = [FHIRVersion.N4_0_1],
            Definition = new()
            {
                Resource =
                [
                    .. definitions.Select(definition => new ImplementationGuide.ResourceComponent
                    {
                        Reference = new($"{definition.TypeName}/{definition.Id}"),
                        Name = definition is IConformanceResource named
                            ? named.Name
                            : Topics.All.Single(topic => topic.Slug == definition.Id).Title,
                        Description = definition is IConformanceResource described
                            ? described.DescriptionElement?.Value
                            : Topics.All.Single(topic => topic.Slug == definition.Id).Description,
                        Example = new FhirBoolean(false),
                    }),
                    .. examples.Select(example => new ImplementationGuide.ResourceComponent
                    {
                        Reference = new($"{example.TypeName}/{example.Id}"),
                        Name = example.Id,
                        Example = new Hl7.Fhir.Model.Canonical(example.Meta!.Profile.First()!),
                    }),
                ],
            },
        };

    private static SortedDictionary<string, byte[]> Files(
        IReadOnlyList<Resource> definitions,
        IReadOnlyList<Resource> examples,
        IReadOnlyList<PublishedDefinition> others,
        Profiles profiles
    )
    {
        Resource[] all = [.. definitions, Guide(definitions, examples, profiles)];
        var files = new SortedDictionary<string, byte[]>(StringComparer.Ordinal)
        {
            ["package/package.json"] = Text(Manifest(profiles)),
            ["package/.index.json"] = Text(Index(all, others)),
            ["package/example/.index.json"] = Text(Index(examples, [])),
        };
        foreach (var resource in all)
            files.Add($"package/{FileOf(resource)}", Text(resource));
        foreach (var other in others)
            files.Add($"package/{FileOf(other)}", other.Text.ToArray());
        foreach (var example in examples)
            files.Add($"package/example/{FileOf(example)}", Text(example));
        return files;
    }

    private static string FileOf(Resource resource) => $"{resource.TypeName}-{resource.Id}.json";

    private static string FileOf(PublishedDefinition other) => $"{other.Type}-{other.Id}.json";

    private static JsonObject Manifest(Profiles profiles) =>
        new()
        {
            ["name"] = Id,
            ["version"] = Profiles.Version,
            ["description"] = "Profiles and terminology of irrigations of urinary catheters",
            ["type"] = "fhir.ig",
            ["canonical"] = profiles.CanonicalBase,
            ["url"] = profiles.CanonicalBase,
            ["fhirVersions"] = new JsonArray("4.0.1"),
            ["dependencies"] = new JsonObject([
                new("hl7.fhir.r4.core", "4.0.1"),
                .. Dependencies.Select(needed => KeyValuePair.Create(needed.Package, (JsonNode?)needed.Version)),
            ]),
            ["author"] = "IrrigationFhir",
            ["date"] = Profiles.PublishedOn.Replace("-", "", StringComparison.Ordinal) + "000000",
            // The word of npm for a package whose licence is to be asked for.
            ["license"] = "UNLICENSED",
            ["directories"] = new JsonObject { ["example"] = "example" },
        };

    private static JsonObject Index(IEnumerable<Resource> resources, IEnumerable<PublishedDefinition> others) =>
        new()
        {
            ["index-version"] = 1,
            ["files"] = new JsonArray([
                .. resources.Select(Line).Concat(others.Select(Line)).OrderBy(line => (string)line["filename"]!, StringComparer.Ordinal),
            ]),
        };

    private static JsonObject Line(Resource resource)
    {
        var file = new JsonObject
        {
            ["filename"] = FileOf(resource),
            ["resourceType"] = resource.TypeName,
            ["id"] = resource.Id,
        };
        if (resource is IVersionableConformanceResource definition)
            (file["url"], file["version"]) = (definition.Url, definition.Version);
        if (resource is StructureDefinition structure)
            (file["kind"], file["type"], file["derivation"]) = (
                structure.Kind.GetLiteral(),
                structure.Type,
                structure.Derivation.GetLiteral()
            );
        return file;
    }

    private static JsonObject Line(PublishedDefinition other) =>
        new()
        {
            ["filename"] = FileOf(other),
            ["resourceType"] = other.Type,
            ["id"] = other.Id,
            ["url"] = other.Url,
            ["version"] = other.Version,
        };

    private static byte[] Text(JsonNode json) => Encoding.UTF8.GetBytes(json.ToJsonString(Readable) + "\n");

    private static byte[] Text(Resource resource) =>
        Encoding.UTF8.GetBytes(FhirJsonSerializer.Default.SerializeToString(resource, pretty: true).ReplaceLineEndings("\n") + "\n");

    private static byte[] Pack(SortedDictionary<string, byte[]> files)
    {
        using var packed = new MemoryStream();
        using (var zip = new GZipStream(packed, CompressionLevel.Optimal, leaveOpen: true))
        using (var tar = new TarWriter(zip, TarEntryFormat.Ustar))
        {
            // The manifest first: who streams the archive knows at once what it is.
            foreach (var (name, content) in files.OrderByDescending(file => file.Key == "package/package.json"))
            {
                using var data = new MemoryStream(content);
                tar.WriteEntry(
                    new UstarTarEntry(TarEntryType.RegularFile, name)
                    {
                        DataStream = data,
                        ModificationTime = Time,
                        Mode = UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.GroupRead | UnixFileMode.OtherRead,
                    }
                );
            }
        }

        return packed.ToArray();
    }
}
