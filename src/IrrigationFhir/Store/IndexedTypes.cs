using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;

namespace IrrigationFhir.Store;

/// <summary>A system and a value, as an identifier or a coding has them.</summary>
/// <param name="System">Empty when there is none.</param>
/// <param name="Value">The code or the identifier's value; never empty.</param>
internal readonly record struct Token(string System, string Value);

/// <summary>What a Reference can be found by.</summary>
/// <param name="Target">The reference without a version part, such as <c>Patient/1</c>; empty when it is a logical one.</param>
/// <param name="Identifier">The logical reference, or null.</param>
internal readonly record struct ReferenceKey(string Target, Token? Identifier)
{
    /// <summary>The key of a reference, or null when it has neither a target outside its own resource nor an identifier.</summary>
    public static ReferenceKey? Of(ResourceReference? reference)
    {
        if (reference is null)
            return null;
        var target = reference.Reference ?? "";
        if (target.StartsWith('#'))
            target = "";
        if (target.IndexOf("/_history/", StringComparison.Ordinal) is var version and >= 0)
            target = target[..version];
        Token? identifier = string.IsNullOrEmpty(reference.Identifier?.Value)
            ? null
            : new(reference.Identifier.System ?? "", reference.Identifier.Value);
        return target.Length == 0 && identifier is null ? null : new(target, identifier);
    }
}

/// <summary>One search parameter of one resource type: its name, its published definition, and where its values come from.</summary>
/// <param name="Name">As in the query.</param>
/// <param name="Definition">Canonical address of the SearchParameter in the specification.</param>
internal abstract record IndexedParameter(string Name, string Definition)
{
    /// <summary>The logical id; every type has it.</summary>
    public sealed record Id() : IndexedParameter("_id", "http://hl7.org/fhir/SearchParameter/Resource-id");

    /// <summary>When the current version was stored; every type has it.</summary>
    public sealed record LastUpdated() : IndexedParameter("_lastUpdated", "http://hl7.org/fhir/SearchParameter/Resource-lastUpdated");

    /// <summary>When it happened. One per type; it is also what <c>_sort</c> by that name means.</summary>
    public sealed record Date(string Name, string Definition, Func<Resource, DataType?> Of) : IndexedParameter(Name, Definition);

    /// <summary>The status, a code whose system the type fixes. At most one per type.</summary>
    public sealed record Status(string Name, string Definition, string System, Func<Resource, string?> Of) : IndexedParameter(Name, Definition);

    /// <summary>The patient the resource is about. At most one reference per resource; two names may share it.</summary>
    public sealed record Subject(string Name, string Definition, IReadOnlyList<string> Targets, Func<Resource, ResourceReference?> Of) : IndexedParameter(Name, Definition);

    /// <summary>Codings or identifiers.</summary>
    public sealed record Coded(string Name, string Definition, Func<Resource, IEnumerable<Token>> Of) : IndexedParameter(Name, Definition);

    /// <summary>References other than the subject.</summary>
    public sealed record Reference(string Name, string Definition, IReadOnlyList<string> Targets, Func<Resource, IEnumerable<ResourceReference?>> Of) : IndexedParameter(Name, Definition);
}

/// <summary>A resource type that is stored, read and searched.</summary>
/// <param name="Name">The FHIR type name.</param>
/// <param name="Parameters">What it can be searched by, in the order the CapabilityStatement lists them.</param>
internal sealed record IndexedType(string Name, IReadOnlyList<IndexedParameter> Parameters)
{
    /// <summary>The parameter of that name, or null.</summary>
    public IndexedParameter? Find(string parameter) => Parameters.FirstOrDefault(known => known.Name == parameter);
}

/// <summary>The list of resource types that are served. Routes, index rows, searches and the CapabilityStatement all come from it.</summary>
internal static class IndexedTypes
{
    private const string Published = "http://hl7.org/fhir/SearchParameter/";

    /// <summary>All of them; a new type is one more line.</summary>
    public static IReadOnlyList<IndexedType> All { get; } =
    [
        Type<Observation>(
            Date<Observation>("date", "clinical-date", o => o.Effective),
            Patient<Observation>("patient", "clinical-patient", ["Patient"], o => o.Subject),
            Patient<Observation>("subject", "Observation-subject", ["Patient", "Group", "Device", "Location"], o => o.Subject),
            Coded<Observation>("code", "clinical-code", o => Tokens(o.Code)),
            Coded<Observation>("category", "Observation-category", o => o.Category.SelectMany(Tokens)),
            Status<Observation>("status", "Observation-status", "http://hl7.org/fhir/observation-status", o => o.Status?.GetLiteral()),
            Coded<Observation>("identifier", "clinical-identifier", o => Tokens(o.Identifier)),
            Coded<Observation>("data-absent-reason", "Observation-data-absent-reason", o => Tokens(o.DataAbsentReason)),
            Reference<Observation>("derived-from", "Observation-derived-from", ["Observation", "DocumentReference", "ImagingStudy", "Media", "QuestionnaireResponse", "MolecularSequence"], o => o.DerivedFrom),
            Reference<Observation>("encounter", "clinical-encounter", ["Encounter"], o => [o.Encounter])),
        Type<Procedure>(
            Date<Procedure>("date", "clinical-date", p => p.Performed),
            Patient<Procedure>("patient", "clinical-patient", ["Patient"], p => p.Subject),
            Patient<Procedure>("subject", "Procedure-subject", ["Patient", "Group"], p => p.Subject),
            Coded<Procedure>("code", "clinical-code", p => Tokens(p.Code)),
            Coded<Procedure>("category", "Procedure-category", p => Tokens(p.Category)),
            Status<Procedure>("status", "Procedure-status", "http://hl7.org/fhir/event-status", p => p.Status?.GetLiteral()),
            Coded<Procedure>("identifier", "clinical-identifier", p => Tokens(p.Identifier)),
            Reference<Procedure>("encounter", "clinical-encounter", ["Encounter"], p => [p.Encounter])),
        Type<Provenance>(
            Date<Provenance>("recorded", "Provenance-recorded", p => p.RecordedElement),
            Patient<Provenance>("patient", "Provenance-patient", ["Patient"], p => p.Target.FirstOrDefault(IsPatient)),
            Reference<Provenance>("target", "Provenance-target", ["Observation", "Procedure", "Patient"], p => p.Target)),
    ];

    /// <summary>The type of that name, or null when it is not served.</summary>
    public static IndexedType? Find(string name) => All.FirstOrDefault(type => type.Name == name);

    private static IndexedType Type<T>(params IndexedParameter[] own)
        where T : Resource =>
        new(typeof(T).Name, [new IndexedParameter.Id(), new IndexedParameter.LastUpdated(), .. own]);

    private static IndexedParameter.Date Date<T>(string name, string definition, Func<T, DataType?> of)
        where T : Resource =>
        new(name, Published + definition, resource => of((T)resource));

    private static IndexedParameter.Status Status<T>(string name, string definition, string system, Func<T, string?> of)
        where T : Resource =>
        new(name, Published + definition, system, resource => of((T)resource));

    private static IndexedParameter.Subject Patient<T>(string name, string definition, IReadOnlyList<string> targets, Func<T, ResourceReference?> of)
        where T : Resource =>
        new(name, Published + definition, targets, resource => of((T)resource));

    private static IndexedParameter.Coded Coded<T>(string name, string definition, Func<T, IEnumerable<Token>> of)
        where T : Resource =>
        new(name, Published + definition, resource => of((T)resource));

    private static IndexedParameter.Reference Reference<T>(string name, string definition, IReadOnlyList<string> targets, Func<T, IEnumerable<ResourceReference?>> of)
        where T : Resource =>
        new(name, Published + definition, targets, resource => of((T)resource));

    private static IEnumerable<Token> Tokens(CodeableConcept? concept) =>
        from coding in concept?.Coding ?? []
        where !string.IsNullOrEmpty(coding.Code)
        select new Token(coding.System ?? "", coding.Code!);

    private static IEnumerable<Token> Tokens(IEnumerable<Identifier> identifiers) =>
        from identifier in identifiers
        where !string.IsNullOrEmpty(identifier.Value)
        select new Token(identifier.System ?? "", identifier.Value!);

    private static bool IsPatient(ResourceReference reference) =>
        reference.Type == "Patient" || reference.Reference?.StartsWith("Patient/", StringComparison.Ordinal) == true;
}
