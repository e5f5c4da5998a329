using System.Reflection;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Search;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>Adds to the CapabilityStatement what another part of the service can do, such as its profiles or operations.</summary>
/// <remarks>Register one per part as a singleton; they run in the order of registration on a statement made for each request.</remarks>
internal delegate void CapabilityClaim(CapabilityStatement statement);

/// <summary>Says what this service can do, from the same list that routes, indexes and searches.</summary>
internal sealed class CapabilityStatements(
    FhirSettings settings,
    StoreSettings store,
    TimeProvider clock,
    Vocabulary vocabulary,
    IEnumerable<CapabilityClaim> claims
)
{
    private static readonly string Version =
        typeof(CapabilityStatements)
            .Assembly.GetCustomAttribute<AssemblyInformationalVersionAttribute>()
            ?.InformationalVersion.Split('+')[0]
        ?? "0";

    private readonly string _since = clock
        .GetUtcNow()
        .ToString("yyyy-MM-dd'T'HH:mm:ssK", System.Globalization.CultureInfo.InvariantCulture);

    /// <summary>The statement, with the addresses of the request that asks.</summary>
    public CapabilityStatement For(HttpRequest request) => At(FhirBase.Of(request, settings));

    /// <summary>The statement, with addresses below a FHIR base.</summary>
    public CapabilityStatement At(string address)
    {
        var statement = new CapabilityStatement
        {
            Status = PublicationStatus.Active,
            Date = _since,
            Kind = CapabilityStatementKind.Instance,
            Software = new() { Name = "IrrigationFhir", Version = Version },
            Implementation = new()
            {
                Description = "Irrigation of urinary catheters: intake, output and corrected urine output",
                Url = address,
            },
            FhirVersion = FHIRVersion.N4_0_1,
            Format = [FhirReply.MediaType, "json"],
            Rest =
            [
                new()
                {
                    Mode = CapabilityStatement.RestfulCapabilityMode.Server,
                    Documentation =
                        $"Dates without an offset are read in the time zone {store.TimeZone.Id}. "
                        + "Unknown search parameters are passed over unless the request says Prefer: handling=strict; "
                        + "the self link shows what took effect, and an entry of mode outcome names what did not. "
                        + "A modifier that is not listed is always refused. "
                        + $"A page holds at most {settings.MaxCount} resources ({settings.DefaultCount} unless _count asks otherwise) "
                        + "and is followed by its next link. "
                        + "_sort takes the search parameters of a type except composite ones, "
                        + "several with commas, each perhaps with a minus; "
                        + "what lacks the value comes last, or first with a minus; "
                        + "without _sort the oldest comes first by the type's date. "
                        + "_summary takes true, text, data, count and false; _elements the names of top-level elements; "
                        + "a read takes both, but not count; what is not sent whole carries the tag SUBSETTED. "
                        + "_total takes none, estimate and accurate, the last two being the same. "
                        + $"_include and _revinclude bring at most {settings.MaxCount} resources with a page, "
                        + $"with :iterate over at most {Inclusions.Rounds} further steps; "
                        + "an entry of mode outcome says when more would have come. "
                        + "Quantities are compared in a common unit where their UCUM units have one (1 L finds 1000 mL), without rounding; "
                        + "a number without a unit is compared with the number as written in whatever unit. "
                        + "A code with the modifier :text finds displays and texts with a word that begins so. "
                        + "A + in an address means a space: write %2B.",
                    Resource = [.. IndexedTypes.All.Select(type => Resource(type, vocabulary.Profiles)), Patient],
                },
            ],
        };
        foreach (var claim in claims)
            claim(statement);
        return statement;
    }

    /// <summary>The same as a requirement, whatever the settings of a site: what every service of this version can do.</summary>
    public static CapabilityStatement Required(Profiles profiles, IEnumerable<CapabilityClaim> claims)
    {
        var statement = new CapabilityStatement
        {
            Id = "service",
            Url = profiles.RequiredCapabilities,
            Version = Profiles.Version,
            Name = "IrrigationFhirService",
            Title = "What the service can do",
            Status = PublicationStatus.Active,
            Experimental = false,
            Date = Profiles.PublishedOn,
            Publisher = "IrrigationFhir",
            Description =
                "Read, history and search of what was charted and what follows from it; "
                + "Observations of devices taken in; validation on request.",
            Kind = CapabilityStatementKind.Requirements,
            FhirVersion = FHIRVersion.N4_0_1,
            Format = [FhirReply.MediaType, "json"],
            Rest =
            [
                new()
                {
                    Mode = CapabilityStatement.RestfulCapabilityMode.Server,
                    Documentation =
                        "The statement of a running service says in which time zone dates without an offset are read, "
                        + "and how much it answers at once.",
                    Resource = [.. IndexedTypes.All.Select(type => Resource(type, profiles)), Patient],
                },
            ],
        };
        foreach (var claim in claims)
            claim(statement);
        return statement;
    }

    private static CapabilityStatement.ResourceComponent Resource(IndexedType type, Profiles profiles) =>
        new()
        {
            TypeElement = new() { JsonValue = type.Name },
            Interaction =
            [
                Interaction(CapabilityStatement.TypeRestfulInteraction.Read),
                Interaction(CapabilityStatement.TypeRestfulInteraction.Vread),
                Interaction(CapabilityStatement.TypeRestfulInteraction.HistoryInstance),
                Interaction(CapabilityStatement.TypeRestfulInteraction.HistoryType),
                Interaction(CapabilityStatement.TypeRestfulInteraction.SearchType),
            ],
            Versioning = CapabilityStatement.ResourceVersionPolicy.Versioned,
            ReadHistory = true,
            UpdateCreate = false,
            ConditionalRead = CapabilityStatement.ConditionalReadStatus.FullSupport,
            SearchInclude = [.. Included(type)],
            SearchRevInclude =
            [
                .. IndexedTypes.All.SelectMany(other =>
                    Pointing(other)
                        .Where(reference => reference.Targets.Contains(type.Name))
                        .Select(reference => $"{other.Name}:{reference.Name}")
                ),
            ],
            SearchParam = [.. type.Parameters.Select(parameter => Parameter(parameter, profiles))],
            Operation =
                type.Name == "Observation"
                    ? [Operation("lastn", "http://hl7.org/fhir/OperationDefinition/Observation-lastn", PatientOperations.LatestPolicy)]
                    : [],
        };

    private static CapabilityStatement.ResourceComponent Patient =>
        new()
        {
            TypeElement = new() { JsonValue = "Patient" },
            Documentation = "Patients are not held here; their ids and identifiers are those that resources refer to.",
            Operation =
            [
                Operation("everything", "http://hl7.org/fhir/OperationDefinition/Patient-everything", PatientOperations.EverythingPolicy),
            ],
        };

    private static CapabilityStatement.OperationComponent Operation(string name, string definition, string policy) =>
        new()
        {
            Name = name,
            Definition = definition,
            Documentation = policy,
        };

    private static IEnumerable<string> Included(IndexedType type) =>
        Pointing(type)
            .Where(reference => reference.Targets.Any(target => IndexedTypes.Find(target) is not null))
            .Select(reference => $"{type.Name}:{reference.Name}");

    private static IEnumerable<IndexedParameter.Reference> Pointing(IndexedType type) =>
        type.Parameters.OfType<IndexedParameter.Reference>();

    private static CapabilityStatement.ResourceInteractionComponent Interaction(CapabilityStatement.TypeRestfulInteraction code) =>
        new() { Code = code };

    private static CapabilityStatement.SearchParamComponent Parameter(IndexedParameter parameter, Profiles profiles) =>
        new()
        {
            Name = parameter.Name,
            Definition = OwnSearchParameters.Canonical(parameter, profiles),
            Type = OwnSearchParameters.TypeOf(parameter),
            Documentation = Documentation(parameter),
        };

    private static string? Documentation(IndexedParameter parameter)
    {
        var prefixes = parameter.Prefixes.Count == 0 ? null : $"Prefixes {string.Join(", ", parameter.Prefixes)}.";
        var modifiers = parameter.Modifiers.Count == 0 ? null : $"Modifiers {string.Join(", ", parameter.Modifiers)}.";
        var note = parameter switch
        {
            IndexedParameter.Subject => "The chain and :identifier look at the identifier inside the reference.",
            IndexedParameter.CodeAndQuantity => "Code and value of one pair, with $ between them.",
            { Own: { } own } => own.Description,
            _ => null,
        };
        return string.Join(' ', new[] { note, prefixes, modifiers }.OfType<string>());
    }
}
