using System.Reflection;
using Hl7.Fhir.Model;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>Adds to the CapabilityStatement what another room of the service can do, such as its profiles or operations.</summary>
/// <remarks>Register one per room as a singleton; they run in the order of registration on a statement made for each request.</remarks>
internal delegate void CapabilityClaim(CapabilityStatement statement);

/// <summary>Says what this service can do, from the same list that routes, indexes and searches.</summary>
internal sealed class CapabilityStatements(FhirSettings settings, StoreSettings store, TimeProvider clock, IEnumerable<CapabilityClaim> claims)
{
    private static readonly string Version =
        typeof(CapabilityStatements).Assembly.GetCustomAttribute<AssemblyInformationalVersionAttribute>()?.InformationalVersion.Split('+')[0] ?? "0";

    private readonly string _since = clock.GetUtcNow().ToString("yyyy-MM-dd'T'HH:mm:ssK", System.Globalization.CultureInfo.InvariantCulture);

    /// <summary>The statement, with the addresses of the request that asks.</summary>
    public CapabilityStatement For(HttpRequest request)
    {
        var statement = new CapabilityStatement
        {
            Status = PublicationStatus.Active,
            Date = _since,
            Kind = CapabilityStatementKind.Instance,
            Software = new() { Name = "IrrigationFhir", Version = Version },
            Implementation = new() { Description = "Irrigation of urinary catheters: intake, output and corrected urine output", Url = FhirBase.Of(request, settings) },
            FhirVersion = FHIRVersion.N4_0_1,
            Format = [FhirReply.MediaType, "json"],
            Rest =
            [
                new()
                {
                    Mode = CapabilityStatement.RestfulCapabilityMode.Server,
                    Documentation =
                        $"Dates without an offset are read in the time zone {store.TimeZone.Id}. " +
                        "Unknown search parameters are passed over unless the request says Prefer: handling=strict; the self link shows what took effect. " +
                        $"A page holds at most {settings.MaxCount} resources ({settings.DefaultCount} unless _count asks otherwise) and is followed by its next link. " +
                        "_sort takes one of _id, _lastUpdated and the type's date parameter, the last two also with a minus; without it the oldest comes first by that date.",
                    Resource = [.. IndexedTypes.All.Select(Resource)],
                },
            ],
        };
        foreach (var claim in claims)
            claim(statement);
        return statement;
    }

    private static CapabilityStatement.ResourceComponent Resource(IndexedType type) => new()
    {
        TypeElement = new() { JsonValue = type.Name },
        Interaction =
        [
            Interaction(CapabilityStatement.TypeRestfulInteraction.Read),
            Interaction(CapabilityStatement.TypeRestfulInteraction.Vread),
            Interaction(CapabilityStatement.TypeRestfulInteraction.HistoryInstance),
            Interaction(CapabilityStatement.TypeRestfulInteraction.SearchType),
        ],
        Versioning = CapabilityStatement.ResourceVersionPolicy.Versioned,
        ReadHistory = true,
        UpdateCreate = false,
        ConditionalRead = CapabilityStatement.ConditionalReadStatus.FullSupport,
        SearchParam = [.. type.Parameters.Select(Parameter)],
    };

    private static CapabilityStatement.ResourceInteractionComponent Interaction(CapabilityStatement.TypeRestfulInteraction code) => new() { Code = code };

    private static CapabilityStatement.SearchParamComponent Parameter(IndexedParameter parameter)
    {
        var (type, documentation) = parameter switch
        {
            IndexedParameter.Date or IndexedParameter.LastUpdated => (SearchParamType.Date, "Prefixes eq, ne, lt, le, gt, ge, sa, eb, ap; also :missing."),
            IndexedParameter.Subject => (SearchParamType.Reference, "Also :identifier and the chain .identifier, both on the identifier inside the reference; :missing."),
            IndexedParameter.Reference => (SearchParamType.Reference, "Also :identifier and :missing."),
            IndexedParameter.Id => (SearchParamType.Token, "Also :missing."),
            _ => (SearchParamType.Token, "Also :not and :missing."),
        };
        return new() { Name = parameter.Name, Definition = parameter.Definition, Type = type, Documentation = documentation };
    }
}
