using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;

namespace IrrigationFhir.Search;

/// <summary>A resource type that is stored, read and searched.</summary>
/// <param name="Name">The FHIR type name.</param>
/// <param name="Parameters">What it can be searched by, in the order the CapabilityStatement lists them.</param>
internal sealed record IndexedType(string Name, IReadOnlyList<IndexedParameter> Parameters)
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
    private const string Published = "http://hl7.org/fhir/SearchParameter/";

    // Index rows of these names carry values and dates beside their codes.
    private const string OwnCode = "code";
    private const string ComponentCode = "component-code";
    private const string TimeToAcknowledge = "time-to-acknowledge";

    /// <summary>All of them; a new type is one more line.</summary>
    public static IReadOnlyList<IndexedType> All { get; } =
    [
        Type<Observation>(
            Date<Observation>("date", "clinical-date", o => o.Effective),
            Patient<Observation>("patient", "clinical-patient", ["Patient"], o => o.Subject),
            Patient<Observation>("subject", "Observation-subject", ["Group", "Device", "Patient", "Location"], o => o.Subject),
            Measured<Observation>(OwnCode, "clinical-code", ["code"], o => Values(0, o.Code, o.Value)),
            Coded<Observation>("category", "Observation-category", ["category"], o => o.Category.SelectMany(Tokens)),
            Status<Observation>("status", "Observation-status", "http://hl7.org/fhir/observation-status", o => o.Status?.GetLiteral()),
            Coded<Observation>("identifier", "clinical-identifier", [], o => Tokens(o.Identifier)),
            Coded<Observation>(
                "data-absent-reason",
                "Observation-data-absent-reason",
                ["dataAbsentReason"],
                o => Tokens(o.DataAbsentReason)
            ),
            Coded<Observation>("method", "Observation-method", ["method"], o => Tokens(o.Method)),
            new IndexedParameter.Quantity("value-quantity", Published + "Observation-value-quantity", [OwnCode]),
            new IndexedParameter.CodeAndQuantity("code-value-quantity", Published + "Observation-code-value-quantity", [OwnCode]),
            Measured<Observation>(
                ComponentCode,
                "Observation-component-code",
                ["component.code"],
                o => o.Component.SelectMany((c, i) => Values(i + 1, c.Code, c.Value))
            ),
            new IndexedParameter.Quantity("component-value-quantity", Published + "Observation-component-value-quantity", [ComponentCode]),
            new IndexedParameter.CodeAndQuantity(
                "component-code-value-quantity",
                Published + "Observation-component-code-value-quantity",
                [ComponentCode]
            ),
            new IndexedParameter.Coded(
                "combo-code",
                Published + "Observation-combo-code",
                [OwnCode, ComponentCode],
                ["code", "component.code"],
                null
            ),
            new IndexedParameter.Quantity("combo-value-quantity", Published + "Observation-combo-value-quantity", [OwnCode, ComponentCode]),
            new IndexedParameter.CodeAndQuantity(
                "combo-code-value-quantity",
                Published + "Observation-combo-code-value-quantity",
                [OwnCode, ComponentCode]
            ),
            Reference<Observation>(
                "derived-from",
                "Observation-derived-from",
                ["DocumentReference", "ImagingStudy", "Media", "MolecularSequence", "Observation", "QuestionnaireResponse"],
                o => o.DerivedFrom
            ),
            Reference<Observation>(
                "has-member",
                "Observation-has-member",
                ["MolecularSequence", "Observation", "QuestionnaireResponse"],
                o => o.HasMember
            ),
            Reference<Observation>(
                "based-on",
                "Observation-based-on",
                ["CarePlan", "DeviceRequest", "ImmunizationRecommendation", "MedicationRequest", "NutritionOrder", "ServiceRequest"],
                o => o.BasedOn
            ),
            Reference<Observation>("device", "Observation-device", ["Device", "DeviceMetric"], o => [o.Device]),
            Reference<Observation>(
                "performer",
                "Observation-performer",
                ["CareTeam", "Organization", "Patient", "Practitioner", "PractitionerRole", "RelatedPerson"],
                o => o.Performer
            ),
            Reference<Observation>("encounter", "clinical-encounter", ["Encounter"], o => [o.Encounter])
        ),
        Type<Procedure>(
            Date<Procedure>("date", "clinical-date", p => p.Performed),
            Patient<Procedure>("patient", "clinical-patient", ["Patient"], p => p.Subject),
            Patient<Procedure>("subject", "Procedure-subject", ["Group", "Patient"], p => p.Subject),
            Measured<Procedure>(OwnCode, "clinical-code", ["code"], p => Tokens(p.Code).Select(token => new CodedValue(0, token))),
            Coded<Procedure>("category", "Procedure-category", ["category"], p => Tokens(p.Category)),
            Status<Procedure>("status", "Procedure-status", "http://hl7.org/fhir/event-status", p => p.Status?.GetLiteral()),
            Coded<Procedure>("identifier", "clinical-identifier", [], p => Tokens(p.Identifier)),
            Reference<Procedure>("based-on", "Procedure-based-on", ["CarePlan", "ServiceRequest"], p => p.BasedOn),
            Reference<Procedure>(
                "performer",
                "Procedure-performer",
                ["Device", "Organization", "Patient", "Practitioner", "PractitionerRole", "RelatedPerson"],
                p => p.Performer.Select(performer => performer.Actor)
            ),
            Reference<Procedure>("encounter", "clinical-encounter", ["Encounter"], p => [p.Encounter])
        ),
        Type<Flag>(
            Date<Flag>("date", "clinical-date", f => f.Period),
            Patient<Flag>("patient", "clinical-patient", ["Patient"], f => f.Subject),
            Patient<Flag>(
                "subject",
                "Flag-subject",
                ["Group", "Organization", "Practitioner", "Medication", "PlanDefinition", "Patient", "Procedure", "Location"],
                f => f.Subject
            ),
            Status<Flag>("status", "flag-status", "http://hl7.org/fhir/flag-status", f => f.Status?.GetLiteral()) with
            {
                Definition = "flag-status",
                Own = new("Flag.status", "Whether the flag is raised (active), cleared (inactive) or withdrawn (entered-in-error)."),
            },
            Measured<Flag>(OwnCode, "flag-code", ["code"], f => Tokens(f.Code).Select(token => new CodedValue(0, token))) with
            {
                Definition = "flag-code",
                Own = new("Flag.code", "Which pattern the flag is about."),
            },
            Coded<Flag>("category", "flag-category", ["category"], f => f.Category.SelectMany(Tokens)) with
            {
                Definition = "flag-category",
                Own = new("Flag.category", "The kind of flag, such as clinical or safety."),
            },
            new IndexedParameter.Moment("acknowledged", "flag-acknowledged", f => Extended(f, "flag-acknowledged"))
            {
                Own = new(Extension("flag-acknowledged") + ".ofType(dateTime)", "When a person first saw the flag."),
            },
            new IndexedParameter.Quantity(TimeToAcknowledge, "flag-time-to-acknowledge", [TimeToAcknowledge])
            {
                Of = f => Extended(f, "flag-time-to-acknowledge") as Quantity,
                Own = new(
                    Extension("flag-time-to-acknowledge") + ".ofType(Quantity)",
                    "How long after its start a person first saw the flag."
                ),
            },
            Coded<Flag>("identifier", "Flag-identifier", [], f => Tokens(f.Identifier)),
            Reference<Flag>(
                "author",
                "Flag-author",
                ["Device", "Organization", "Patient", "Practitioner", "PractitionerRole"],
                f => [f.Author]
            ),
            Reference<Flag>("encounter", "clinical-encounter", ["Encounter"], f => [f.Encounter])
        ),
        Type<Provenance>(
            Date<Provenance>("recorded", "Provenance-recorded", p => p.RecordedElement),
            new IndexedParameter.Subject(
                "patient",
                Published + "Provenance-patient",
                ["Patient"],
                provenance => ((Provenance)provenance).Target.FirstOrDefault(IsPatient),
                provenance => ((Provenance)provenance).Target
            ),
            Reference<Provenance>("target", "Provenance-target", ["Observation", "Procedure", "Flag", "Patient"], p => p.Target),
            Reference<Provenance>(
                "agent",
                "Provenance-agent",
                ["Device", "Organization", "Patient", "Practitioner", "PractitionerRole", "RelatedPerson"],
                p => p.Agent.Select(agent => agent.Who)
            )
        ),
        Type<Subscription>(
            Date<Subscription>("end", "subscription-end", s => s.EndElement) with
            {
                Definition = "subscription-end",
                Own = new("Subscription.end", "When the subscription ends."),
            },
            Status<Subscription>("status", "Subscription-status", "http://hl7.org/fhir/subscription-status", s => s.Status?.GetLiteral()),
            new IndexedParameter.Canonical(
                "url",
                Published + "Subscription-url",
                s => ((Subscription)s).Channel?.Endpoint is { Length: > 0 } url ? [url] : []
            ),
            new IndexedParameter.Text(
                "criteria",
                Published + "Subscription-criteria",
                s => ((Subscription)s).Criteria is { Length: > 0 } criteria ? [criteria] : []
            ),
            Coded<Subscription>(
                "type",
                "Subscription-type",
                [],
                s => s.Channel?.Type?.GetLiteral() is { } type ? [new Token("http://hl7.org/fhir/subscription-channel-type", type)] : []
            ),
            Coded<Subscription>(
                "payload",
                "Subscription-payload",
                [],
                s => s.Channel?.Payload is { Length: > 0 } media ? [new Token("urn:ietf:bcp:13", media)] : []
            )
        ),
    ];

    /// <summary>Those whose resources are about a patient.</summary>
    public static IReadOnlyList<IndexedType> OfPatients { get; } = [.. All.Where(type => type.OfPatient)];

    /// <summary>The type of that name, or null when it is not served.</summary>
    public static IndexedType? Find(string name) => All.FirstOrDefault(type => type.Name == name);

    /// <summary>Whether index rows of that name carry values and dates beside their codes.</summary>
    public static bool IsMeasured(string row) => row is OwnCode or ComponentCode or TimeToAcknowledge;

    // By the end of its address: the base is the site's, and the definitions here are the same for every base.
    private static DataType? Extended(Resource resource, string slug) =>
        (resource as DomainResource)
            ?.Extension.FirstOrDefault(extension =>
                extension.Url?.EndsWith($"/StructureDefinition/{slug}", StringComparison.Ordinal) == true
            )
            ?.Value;

    private static string Extension(string slug) => $"Flag.extension.where(url.endsWith('/StructureDefinition/{slug}')).value";

    private static IndexedType Type<T>(params IndexedParameter[] own)
        where T : Resource =>
        new(
            typeof(T).Name,
            [
                new IndexedParameter.Id(),
                new IndexedParameter.LastUpdated(),
                new IndexedParameter.Canonical("_profile", Published + "Resource-profile", r => r.Meta?.Profile.OfType<string>() ?? []),
                Coded<T>("_tag", "Resource-tag", ["meta.tag"], r => Tokens(r.Meta?.Tag)),
                Coded<T>("_security", "Resource-security", ["meta.security"], r => Tokens(r.Meta?.Security)),
                .. own,
            ]
        );

    private static IndexedParameter.Date Date<T>(string name, string definition, Func<T, DataType?> of)
        where T : Resource => new(name, Published + definition, resource => of((T)resource));

    private static IndexedParameter.Status Status<T>(string name, string definition, string system, Func<T, string?> of)
        where T : Resource => new(name, Published + definition, system, resource => of((T)resource));

    private static IndexedParameter.Subject Patient<T>(
        string name,
        string definition,
        IReadOnlyList<string> targets,
        Func<T, ResourceReference?> of
    )
        where T : Resource => new(name, Published + definition, targets, resource => of((T)resource));

    private static IndexedParameter.Coded Coded<T>(
        string name,
        string definition,
        IReadOnlyList<string> texts,
        Func<T, IEnumerable<Token>> of
    )
        where T : Resource =>
        new(name, Published + definition, [name], texts, resource => of((T)resource).Select(token => new CodedValue(0, token)));

    private static IndexedParameter.Coded Measured<T>(
        string name,
        string definition,
        IReadOnlyList<string> texts,
        Func<T, IEnumerable<CodedValue>> of
    )
        where T : Resource => new(name, Published + definition, [name], texts, resource => of((T)resource));

    private static IndexedParameter.Reference Reference<T>(
        string name,
        string definition,
        IReadOnlyList<string> targets,
        Func<T, IEnumerable<ResourceReference?>> of
    )
        where T : Resource => new(name, Published + definition, targets, resource => of((T)resource));

    // A pair whose code is text only still has a value that can be looked for.
    private static IEnumerable<CodedValue> Values(int part, CodeableConcept? code, DataType? value) =>
        Tokens(code).DefaultIfEmpty(new("", "")).Select(token => new CodedValue(part, token, value as Quantity));

    private static IEnumerable<Token> Tokens(CodeableConcept? concept) => Tokens(concept?.Coding);

    private static IEnumerable<Token> Tokens(IEnumerable<Coding>? codings) =>
        from coding in codings ?? []
        where !string.IsNullOrEmpty(coding.Code)
        select new Token(coding.System ?? "", coding.Code!);

    private static IEnumerable<Token> Tokens(IEnumerable<Identifier> identifiers) =>
        from identifier in identifiers
        where !string.IsNullOrEmpty(identifier.Value)
        select new Token(identifier.System ?? "", identifier.Value!);

    private static bool IsPatient(ResourceReference reference) =>
        reference.Type == "Patient" || reference.Reference?.StartsWith("Patient/", StringComparison.Ordinal) == true;
}
