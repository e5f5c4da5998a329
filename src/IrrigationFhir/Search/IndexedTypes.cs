using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;

namespace IrrigationFhir.Search;

/// <summary>A resource type that is stored, read and searched.</summary>
/// <param name="Number">Stands for it in the keys of the store: never another's, also not of one that is no longer served.</param>
/// <param name="Name">The FHIR type name.</param>
/// <param name="Parameters">What it can be searched by, in the order the CapabilityStatement lists them.</param>
internal sealed record IndexedType(int Number, string Name, IReadOnlyList<IndexedParameter> Parameters)
{
    /// <summary>When it happened; every type has one.</summary>
    public IndexedParameter.Date Date { get; } = Parameters.OfType<IndexedParameter.Date>().Single();

    /// <summary>Whether its resources are about a patient, and belong to all that is known of one.</summary>
    public bool OfPatient { get; } = Parameters.Any(parameter => parameter is IndexedParameter.Subject);

    /// <summary>The parameter of that name, or null.</summary>
    public IndexedParameter? Find(string parameter) => Parameters.FirstOrDefault(known => known.Name == parameter);
}

/// <summary>
/// The list of resource types that are served. Routes, index rows, searches and the CapabilityStatement all come from it.
/// </summary>
internal static class IndexedTypes
{
    /// <summary>Index rows of a resource's own code.</summary>
    public const string OwnCode = "code";

    /// <summary>Index rows of its identifiers, which no other resource shares.</summary>
    public const string Identifier = "identifier";

    /// <summary>Index rows of the codes of components; values stand beside them, as beside <see cref="OwnCode"/>.</summary>
    public const string ComponentCode = "component-code";

    private const string TimeToAcknowledge = "time-to-acknowledge";

    /// <summary>All of them; a new type is one more line.</summary>
    public static IReadOnlyList<IndexedType> All { get; } =
    [
        Type<Observation>(
            1,
            Date<Observation>("date", o => o.Effective),
            Subject<Observation>("patient", o => o.Subject),
            Subject<Observation>("subject", o => o.Subject),
            Measured<Observation>(OwnCode, ["code"], o => Values(0, o.Code, o.Value)),
            Coded<Observation>("category", ["category"], o => o.Category.SelectMany(Tokens)),
            Status<Observation>("status", "http://hl7.org/fhir/observation-status", o => o.Status?.GetLiteral()),
            Coded<Observation>(Identifier, [], o => Tokens(o.Identifier)),
            Coded<Observation>("data-absent-reason", ["dataAbsentReason"], o => Tokens(o.DataAbsentReason)),
            Coded<Observation>("method", ["method"], o => Tokens(o.Method)),
            Quantity<Observation>("value-quantity", [OwnCode]),
            Coded<Observation>("value-concept", ["valueCodeableConcept"], o => Tokens(o.Value as CodeableConcept)),
            CodeAndQuantity<Observation>("code-value-quantity", [OwnCode]),
            Measured<Observation>(ComponentCode, ["component.code"], o => o.Component.SelectMany((c, i) => Values(i + 1, c.Code, c.Value))),
            Quantity<Observation>("component-value-quantity", [ComponentCode]),
            CodeAndQuantity<Observation>("component-code-value-quantity", [ComponentCode]),
            new IndexedParameter.Coded(
                "combo-code",
                DefinitionOf<Observation>("combo-code"),
                [OwnCode, ComponentCode],
                ["code", "component.code"],
                null
            ),
            Quantity<Observation>("combo-value-quantity", [OwnCode, ComponentCode]),
            CodeAndQuantity<Observation>("combo-code-value-quantity", [OwnCode, ComponentCode]),
            Reference<Observation>("derived-from", o => o.DerivedFrom),
            Reference<Observation>("has-member", o => o.HasMember),
            Reference<Observation>("part-of", o => o.PartOf),
            Reference<Observation>("based-on", o => o.BasedOn),
            Reference<Observation>("device", o => [o.Device]),
            Reference<Observation>("performer", o => o.Performer),
            Reference<Observation>("encounter", o => [o.Encounter])
        ),
        Type<Procedure>(
            2,
            Date<Procedure>("date", p => p.Performed),
            Subject<Procedure>("patient", p => p.Subject),
            Subject<Procedure>("subject", p => p.Subject),
            Measured<Procedure>(OwnCode, ["code"], p => Tokens(p.Code).Select(token => new CodedValue(0, token))),
            Coded<Procedure>("category", ["category"], p => Tokens(p.Category)),
            Status<Procedure>("status", "http://hl7.org/fhir/event-status", p => p.Status?.GetLiteral()),
            Coded<Procedure>(Identifier, [], p => Tokens(p.Identifier)),
            Reference<Procedure>("based-on", p => p.BasedOn),
            Reference<Procedure>("part-of", p => p.PartOf),
            Reference<Procedure>("performer", p => p.Performer.Select(performer => performer.Actor)),
            Reference<Procedure>("encounter", p => [p.Encounter]),
            new IndexedParameter.Text(
                "location-name",
                "procedure-location-name",
                p => ((Procedure)p).Location?.Display is { Length: > 0 } says ? Model.Location.Around(says) : []
            )
            {
                Own = new(
                    "procedure-location-name",
                    "Procedure.location.display",
                    "Where the patient of an irrigation lies, such as 'North 4, room 2, bed 1', by how it begins; "
                        + "with :exact by the whole name of the ward, of the room with its ward, or of the bed with both."
                ),
            }
        ),
        Type<Flag>(
            3,
            Date<Flag>("date", f => f.Period),
            Subject<Flag>("patient", f => f.Subject),
            Subject<Flag>("subject", f => f.Subject),
            Status<Flag>(
                "status",
                "http://hl7.org/fhir/flag-status",
                f => f.Status?.GetLiteral(),
                new(
                    "flag-status",
                    "Flag.status",
                    "Whether the flag is raised (active), cleared (inactive) or withdrawn (entered-in-error)."
                )
            ),
            Measured<Flag>(
                OwnCode,
                ["code"],
                f => Tokens(f.Code).Select(token => new CodedValue(0, token)),
                new("flag-code", "Flag.code", "Which pattern the flag is about.")
            ),
            Coded<Flag>(
                "category",
                ["category"],
                f => f.Category.SelectMany(Tokens),
                new("flag-category", "Flag.category", "The kind of flag, such as clinical or safety.")
            ),
            Coded<Flag>(
                "priority",
                [],
                f => Tokens(Extended(f, "flag-priority") as CodeableConcept),
                new(
                    "flag-priority",
                    Extension("flag-priority") + ".ofType(CodeableConcept)",
                    "How soon somebody has to look: low, medium or high priority."
                )
            ),
            new IndexedParameter.Moment("acknowledged", "flag-acknowledged", f => Extended(f, "flag-acknowledged"))
            {
                Own = new("flag-acknowledged", Extension("flag-acknowledged") + ".ofType(dateTime)", "When a person first saw the flag."),
            },
            new IndexedParameter.Quantity(TimeToAcknowledge, "flag-time-to-acknowledge", [TimeToAcknowledge])
            {
                Of = f => Extended(f, "flag-time-to-acknowledge") as Quantity,
                Own = new(
                    "flag-time-to-acknowledge",
                    Extension("flag-time-to-acknowledge") + ".ofType(Quantity)",
                    "How long after its start a person first saw the flag."
                ),
            },
            new IndexedParameter.Reference(
                "part-of",
                "flag-part-of",
                ["Procedure"],
                f => [Extended(f, "part-of-irrigation") as ResourceReference]
            )
            {
                Own = new(
                    "flag-part-of",
                    Extension("part-of-irrigation") + ".ofType(Reference)",
                    "The irrigation that the flag belongs to."
                ),
            },
            Coded<Flag>(Identifier, [], f => Tokens(f.Identifier)),
            Reference<Flag>("author", f => [f.Author]),
            Reference<Flag>("encounter", f => [f.Encounter])
        ),
        Type<Provenance>(
            4,
            Date<Provenance>("recorded", p => p.RecordedElement),
            new IndexedParameter.Subject(
                "patient",
                DefinitionOf<Provenance>("patient"),
                ["Patient"],
                provenance => ((Provenance)provenance).Target.FirstOrDefault(IsPatient),
                provenance => ((Provenance)provenance).Target
            ),
            // R4 names every type; these are the ones that a Provenance of this service points at.
            Reference<Provenance>("target", p => p.Target) with
            {
                Targets = ["Observation", "Procedure", "Flag", "Patient"],
            },
            Reference<Provenance>("agent", p => p.Agent.Select(agent => agent.Who))
        ),
        Type<Subscription>(
            5,
            Date<Subscription>("end", s => s.EndElement, new("subscription-end", "Subscription.end", "When the subscription ends.")),
            Status<Subscription>("status", "http://hl7.org/fhir/subscription-status", s => s.Status?.GetLiteral()),
            new IndexedParameter.Canonical(
                "url",
                DefinitionOf<Subscription>("url"),
                s => ((Subscription)s).Channel?.Endpoint is { Length: > 0 } url ? [url] : []
            ),
            new IndexedParameter.Text(
                "criteria",
                DefinitionOf<Subscription>("criteria"),
                s => ((Subscription)s).Criteria is { Length: > 0 } criteria ? [criteria] : []
            ),
            Coded<Subscription>(
                "type",
                [],
                s => s.Channel?.Type?.GetLiteral() is { } type ? [new Token("http://hl7.org/fhir/subscription-channel-type", type)] : []
            ),
            Coded<Subscription>(
                "payload",
                [],
                s => s.Channel?.Payload is { Length: > 0 } media ? [new Token("urn:ietf:bcp:13", media)] : []
            )
        ),
    ];

    /// <summary>Those whose resources are about a patient.</summary>
    public static IReadOnlyList<IndexedType> OfPatients { get; } = [.. All.Where(type => type.OfPatient)];

    /// <summary>The type of that name, or null when it is not served.</summary>
    public static IndexedType? Find(string name) => All.FirstOrDefault(type => type.Name == name);

    /// <summary>The number of the type of that name; 0 when it is not served.</summary>
    public static long NumberOf(string name) => Find(name)?.Number ?? 0;

    /// <summary>The name of the type of that number.</summary>
    public static string NameOf(long number) => All.First(type => type.Number == number).Name;

    // By the end of its address: the base is the site's, and the definitions here are the same for every base.
    private static DataType? Extended(Resource resource, string slug) =>
        (resource as DomainResource)
            ?.Extension.FirstOrDefault(extension =>
                extension.Url?.EndsWith($"/StructureDefinition/{slug}", StringComparison.Ordinal) == true
            )
            ?.Value;

    private static string Extension(string slug) => $"Flag.extension.where(url.endsWith('/StructureDefinition/{slug}')).value";

    private static IndexedType Type<T>(int number, params IndexedParameter[] ofType)
        where T : Resource =>
        new(
            number,
            typeof(T).Name,
            [
                new IndexedParameter.Id(),
                new IndexedParameter.LastUpdated(),
                new IndexedParameter.Canonical(
                    "_profile",
                    IndexedParameter.OfEveryType + "profile",
                    r => r.Meta?.Profile.OfType<string>() ?? []
                ),
                Label("_tag", "tag", r => r.Meta?.Tag),
                Label("_security", "security", r => r.Meta?.Security),
                .. ofType,
            ]
        );

    private static IndexedParameter.Coded Label(string name, string element, Func<Resource, IEnumerable<Coding>?> of) =>
        new(
            name,
            IndexedParameter.OfEveryType + element,
            [name],
            [$"meta.{element}"],
            resource => Tokens(of(resource)).Select(token => new CodedValue(0, token))
        );

    private static IndexedParameter.Date Date<T>(string name, Func<T, DataType?> of, OwnDefinition? own = null)
        where T : Resource => new(name, DefinitionOf<T>(name, own), resource => of((T)resource)) { Own = own };

    private static IndexedParameter.Status Status<T>(string name, string system, Func<T, string?> of, OwnDefinition? own = null)
        where T : Resource => new(name, DefinitionOf<T>(name, own), system, resource => of((T)resource)) { Own = own };

    // R4 names Group as a target of patient too, which the expression of the same definition leaves out.
    private static IndexedParameter.Subject Subject<T>(string name, Func<T, ResourceReference?> of)
        where T : Resource =>
        new(name, DefinitionOf<T>(name), name == "patient" ? ["Patient"] : TargetsOf<T>(name), resource => of((T)resource));

    private static IndexedParameter.Coded Coded<T>(
        string name,
        IReadOnlyList<string> texts,
        Func<T, IEnumerable<Token>> of,
        OwnDefinition? own = null
    )
        where T : Resource => Measured<T>(name, texts, resource => of(resource).Select(token => new CodedValue(0, token)), own);

    private static IndexedParameter.Coded Measured<T>(
        string name,
        IReadOnlyList<string> texts,
        Func<T, IEnumerable<CodedValue>> of,
        OwnDefinition? own = null
    )
        where T : Resource => new(name, DefinitionOf<T>(name, own), [name], texts, resource => of((T)resource)) { Own = own };

    private static IndexedParameter.Quantity Quantity<T>(string name, IReadOnlyList<string> rows)
        where T : Resource => new(name, DefinitionOf<T>(name), rows);

    private static IndexedParameter.CodeAndQuantity CodeAndQuantity<T>(string name, IReadOnlyList<string> rows)
        where T : Resource => new(name, DefinitionOf<T>(name), rows);

    private static IndexedParameter.Reference Reference<T>(string name, Func<T, IEnumerable<ResourceReference?>> of)
        where T : Resource => new(name, DefinitionOf<T>(name), TargetsOf<T>(name), resource => of((T)resource));

    private static string DefinitionOf<T>(string name, OwnDefinition? own = null)
        where T : Resource => own?.Id ?? InR4<T>(name).Url!;

    private static IReadOnlyList<string> TargetsOf<T>(string name)
        where T : Resource => [.. InR4<T>(name).Target!.Select(target => target.ToString())];

    private static SearchParamDefinition InR4<T>(string name)
        where T : Resource => ModelInfo.SearchParameters.Single(known => known.Resource == typeof(T).Name && known.Name == name);

    // A pair whose code is text only still has a value that can be looked for.
    private static IEnumerable<CodedValue> Values(int part, CodeableConcept? code, DataType? value) =>
        Tokens(code).DefaultIfEmpty(new("", "")).Select(token => new CodedValue(part, token, value as Quantity));

    private static IEnumerable<Token> Tokens(CodeableConcept? concept) => Tokens(concept?.Coding);

    private static IEnumerable<Token> Tokens(IEnumerable<Coding>? codings) =>
        from coding in codings ?? []
        where !string.IsNullOrEmpty(coding.Code)
        select new Token(coding.System ?? "", coding.Code!);

    private static IEnumerable<Token> Tokens(IEnumerable<Hl7.Fhir.Model.Identifier> identifiers) =>
        from identifier in identifiers
        where !string.IsNullOrEmpty(identifier.Value)
        select new Token(identifier.System ?? "", identifier.Value!);

    private static bool IsPatient(ResourceReference reference) =>
        reference.Type == "Patient" || reference.Reference?.StartsWith("Patient/", StringComparison.Ordinal) == true;
}
