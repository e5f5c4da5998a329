namespace IrrigationFhir.Validation;

/// <summary>One rule that a resource breaks.</summary>
/// <param name="Key">
/// The key of the invariant (<c>cuo-derived-from</c>, <c>obs-6</c>), or the kind of rule: see <see cref="FaultKind"/>. Fit for a log.
/// </param>
/// <param name="Where">Path of the element, such as <c>Observation.component[2].code</c>. Fit for a log.</param>
/// <param name="Text">What is wrong, for the person who sent the resource. May quote it, so never for a log.</param>
internal sealed record ProfileFault(string Key, string Where, string Text);

/// <summary>Keys of faults against rules that have no key of their own in a profile.</summary>
internal static class FaultKind
{
    /// <summary>Too few or too many of an element.</summary>
    public const string Cardinality = "cardinality";

    /// <summary>A code outside a value set with a required binding.</summary>
    public const string Binding = "binding";

    /// <summary>A value that the profile fixes is another one.</summary>
    public const string Pattern = "pattern";

    /// <summary>A repeating element fits none of its slices, or a slice is missing.</summary>
    public const string Slicing = "slicing";

    /// <summary>An element or resource of a type that does not belong here.</summary>
    public const string Type = "type";

    /// <summary>An element that is not defined here.</summary>
    public const string UnknownElement = "unknown-element";

    /// <summary>An extension that is not in the service's fixed set.</summary>
    public const string UnknownExtension = "unknown-extension";

    /// <summary>A profile, or a version of one, that is not in the service's fixed set.</summary>
    public const string UnknownProfile = "unknown-profile";

    /// <summary>A reference to a type of resource that is not allowed here.</summary>
    public const string ReferenceTarget = "reference-target";

    /// <summary>Anything else: the form of a primitive, its length, the id of a contained resource.</summary>
    public const string Value = "value";
}
