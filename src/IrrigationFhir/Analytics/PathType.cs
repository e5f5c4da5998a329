using Hl7.Fhir.Introspection;
using Hl7.Fhir.Model;

namespace IrrigationFhir.Analytics;

/// <summary>What a path leads to, as far as the definitions of R4 tell.</summary>
/// <param name="Name">The FHIR type's name; null where R4 does not know the element.</param>
/// <param name="Many">Whether there may be more than one.</param>
internal sealed record PathType(string? Name, bool Many)
{
    private ClassMapping? Mapping { get; init; }

    /// <summary>An element that R4 does not know.</summary>
    public static PathType Unknown { get; } = new(null, true);

    /// <summary>True or false.</summary>
    public static PathType Boolean { get; } = Of("boolean");

    /// <summary>A text.</summary>
    public static PathType Text { get; } = Of("string");

    /// <summary>A number.</summary>
    public static PathType Number { get; } = Of("decimal");

    /// <summary>One of a type of R4; unknown where there is none of that name.</summary>
    public static PathType Of(string name) =>
        ModelInfo.ModelInspector.FindClassMapping(name) is { } mapping ? new(name, false) { Mapping = mapping } : Unknown;

    /// <summary>Whether R4 has a resource type of that name.</summary>
    public static bool IsResource(string name) => ModelInfo.IsKnownResource(name);

    /// <summary>Whether a name is that of a type of R4.</summary>
    public static bool IsType(string name) => ModelInfo.ModelInspector.FindClassMapping(name) is not null;

    /// <summary>Whether it is a resource whose type shows only in the data.</summary>
    public bool IsAnyResource => Name is "Resource" or "DomainResource";

    /// <summary>Whether it is a simple value; null where that is not known.</summary>
    public bool? IsValue => Mapping is null ? null : Mapping.NativeType.IsAssignableTo(typeof(PrimitiveType));

    /// <summary>How it compares; null where that is not known, or it does not.</summary>
    public ValueKind? Kind =>
        Name switch
        {
            "decimal" or "integer" or "positiveInt" or "unsignedInt" or "integer64" => ValueKind.Number,
            "boolean" => ValueKind.Boolean,
            _ => IsValue == true ? ValueKind.Text : null,
        };

    /// <summary>A child by its name in the definition, with the names that it may have in JSON.</summary>
    /// <param name="name">E.g. <c>value</c>, where JSON has <c>valueQuantity</c>.</param>
    /// <param name="ofType">The type that is wanted of a choice; null for any.</param>
    public (IReadOnlyList<string> Names, PathType Type) Child(string name, string? ofType = null)
    {
        var property = Mapping?.FindMappedElementByName(name);
        if (property is null)
            return ofType is null ? ([name], Unknown) : ([name + Capital(ofType), name], Of(ofType) with { Many = true });
        var many = Many || property.IsCollection;
        if (property.Choice == ChoiceType.DatatypeChoice)
        {
            if (ofType is not null)
                return ([name + Capital(ofType)], Of(ofType) with { Many = many });
            // An open choice (Extension.value) names its types nowhere: any data type is one.
            var types = property.FhirType.Length == 1 && property.FhirType[0] == typeof(DataType) ? OpenTypes : Names(property.FhirType);
            return ([.. types.Select(type => name + Capital(type))], new(null, many));
        }

        var of = property.PropertyTypeMapping;
        var type = new PathType(of.Name, many) { Mapping = of };
        return ofType is null || ofType == of.Name ? ([name], type) : ([], Unknown);
    }

    private static string[] OpenTypes { get; } =
    [.. ModelInfo.OpenTypes.Select(type => ModelInfo.ModelInspector.FindClassMapping(type)!.Name)];

    private static IEnumerable<string> Names(Type[] types) => types.Select(type => ModelInfo.ModelInspector.FindClassMapping(type)!.Name);

    private static string Capital(string name) => char.ToUpperInvariant(name[0]) + name[1..];
}
