using Hl7.Fhir.Model;

namespace IrrigationFhir.Search;

/// <summary>A system and a value, as an identifier or a coding has them.</summary>
/// <param name="System">Empty when there is none.</param>
/// <param name="Value">The code or the identifier's value; empty only where a value of the resource has no coded meaning.</param>
internal readonly record struct Token(string System, string Value);

/// <summary>A coding of a resource, and the value that stands beside it.</summary>
/// <param name="Part">0 for the resource itself, from 1 for its components: a code and a value of one pair share it.</param>
/// <param name="Token">The coding.</param>
/// <param name="Value">The value of the same pair, or null.</param>
internal readonly record struct CodedValue(int Part, Token Token, Quantity? Value = null);

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

/// <summary>A search parameter that R4 lacks and this service publishes.</summary>
/// <param name="Id">The id of its SearchParameter.</param>
/// <param name="Expression">FHIRPath to its values.</param>
/// <param name="Description">What it finds.</param>
internal sealed record OwnDefinition(string Id, string Expression, string Description);

/// <summary>
/// One search parameter of one resource type: its name, its published definition, what it can be asked, and where its values come from.
/// </summary>
/// <param name="Name">As in the query.</param>
/// <param name="Definition">
/// Canonical address of the SearchParameter in the specification; for one of ours the id of its definition.
/// </param>
internal abstract record IndexedParameter(string Name, string Definition)
{
    /// <summary>How the definitions begin that R4 has for every type; the SDK lists those of single types alone.</summary>
    public const string OfEveryType = "http://hl7.org/fhir/SearchParameter/Resource-";

    /// <summary>The prefixes of dates and quantities.</summary>
    public static IReadOnlyList<string> AllPrefixes { get; } = ["eq", "ne", "lt", "le", "gt", "ge", "sa", "eb", "ap"];

    /// <summary>Set for a parameter of ours.</summary>
    public OwnDefinition? Own { get; init; }

    /// <summary>The modifiers it takes, with their colon; a chain begins with its point.</summary>
    public abstract IReadOnlyList<string> Modifiers { get; }

    /// <summary>The prefixes its values take.</summary>
    public virtual IReadOnlyList<string> Prefixes => [];

    /// <summary>The logical id; every type has it.</summary>
    public sealed record Id() : IndexedParameter("_id", OfEveryType + "id")
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => [":missing"];
    }

    /// <summary>When the current version was stored; every type has it.</summary>
    public sealed record LastUpdated() : IndexedParameter("_lastUpdated", OfEveryType + "lastUpdated")
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => [":missing"];

        /// <inheritdoc/>
        public override IReadOnlyList<string> Prefixes => AllPrefixes;
    }

    /// <summary>When it happened. One per type; it is also the order of pages unless another is asked for.</summary>
    public sealed record Date(string Name, string Definition, Func<Resource, DataType?> Of) : IndexedParameter(Name, Definition)
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => [":missing"];

        /// <inheritdoc/>
        public override IReadOnlyList<string> Prefixes => AllPrefixes;
    }

    /// <summary>The status, a code whose system the type fixes. At most one per type.</summary>
    public sealed record Status(string Name, string Definition, string System, Func<Resource, string?> Of)
        : IndexedParameter(Name, Definition)
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => [":not", ":missing"];
    }

    /// <summary>The patient the resource is about. At most one reference per resource; two names may share it.</summary>
    /// <param name="Name">As in the query.</param>
    /// <param name="Definition">As for all.</param>
    /// <param name="Targets">Types it may point at.</param>
    /// <param name="Of">The reference.</param>
    /// <param name="Through">Where the resource names no patient: the resources whose patient is its own.</param>
    public sealed record Subject(
        string Name,
        string Definition,
        IReadOnlyList<string> Targets,
        Func<Resource, ResourceReference?> Of,
        Func<Resource, IEnumerable<ResourceReference>>? Through = null
    ) : IndexedParameter(Name, Definition)
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers =>
            [":identifier", ".identifier", ":Patient.identifier", ":missing", .. Targets.Select(type => ":" + type)];
    }

    /// <summary>Codings or identifiers.</summary>
    /// <param name="Name">As in the query.</param>
    /// <param name="Definition">As for all.</param>
    /// <param name="Rows">Names of the index rows it looks at.</param>
    /// <param name="Texts">Paths of the elements whose display and text the modifier <c>:text</c> looks at; none without it.</param>
    /// <param name="Of">The rows it writes, under its own name; null when others write all it looks at.</param>
    public sealed record Coded(
        string Name,
        string Definition,
        IReadOnlyList<string> Rows,
        IReadOnlyList<string> Texts,
        Func<Resource, IEnumerable<CodedValue>>? Of
    ) : IndexedParameter(Name, Definition)
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => Texts.Count > 0 ? [":not", ":text", ":missing"] : [":not", ":missing"];
    }

    /// <summary>
    /// Canonical addresses, each perhaps with a version behind a bar; indexed like a coding with the version as its system.
    /// </summary>
    public sealed record Canonical(string Name, string Definition, Func<Resource, IEnumerable<string>> Of)
        : IndexedParameter(Name, Definition)
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => [":missing"];
    }

    /// <summary>Another time than the <see cref="Date"/>, which its type has beside it.</summary>
    public sealed record Moment(string Name, string Definition, Func<Resource, DataType?> Of) : IndexedParameter(Name, Definition)
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => [":missing"];

        /// <inheritdoc/>
        public override IReadOnlyList<string> Prefixes => AllPrefixes;
    }

    /// <summary>Texts; found by how they begin, whatever the case of ASCII letters.</summary>
    public sealed record Text(string Name, string Definition, Func<Resource, IEnumerable<string>> Of) : IndexedParameter(Name, Definition)
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => [":exact", ":missing"];
    }

    /// <summary>The values beside codings, or one that stands alone.</summary>
    /// <param name="Name">As in the query.</param>
    /// <param name="Definition">As for all.</param>
    /// <param name="Rows">Names of the index rows it looks at; a <see cref="Coded"/> writes them, or itself, under its own name.</param>
    public sealed record Quantity(string Name, string Definition, IReadOnlyList<string> Rows) : IndexedParameter(Name, Definition)
    {
        /// <summary>The value that it writes itself, beside no coding; null where a <see cref="Coded"/> writes all it looks at.</summary>
        public Func<Resource, Hl7.Fhir.Model.Quantity?>? Of { get; init; }

        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => [":missing"];

        /// <inheritdoc/>
        public override IReadOnlyList<string> Prefixes => AllPrefixes;
    }

    /// <summary>A coding and the value beside it, of one pair.</summary>
    /// <param name="Name">As in the query.</param>
    /// <param name="Definition">As for all.</param>
    /// <param name="Rows">Names of the index rows it looks at; a <see cref="Coded"/> writes them.</param>
    public sealed record CodeAndQuantity(string Name, string Definition, IReadOnlyList<string> Rows) : IndexedParameter(Name, Definition)
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => [];

        /// <inheritdoc/>
        public override IReadOnlyList<string> Prefixes => AllPrefixes;
    }

    /// <summary>References other than the subject.</summary>
    public sealed record Reference(
        string Name,
        string Definition,
        IReadOnlyList<string> Targets,
        Func<Resource, IEnumerable<ResourceReference?>> Of
    ) : IndexedParameter(Name, Definition)
    {
        /// <inheritdoc/>
        public override IReadOnlyList<string> Modifiers => [":identifier", ":missing", .. Targets.Select(type => ":" + type)];

        /// <summary>
        /// Parameters whose references hardly two resources share, and the element each reads; the place in this list, from 1, stands for
        /// one in the keys of the store, so that a new one goes to the end. What is under the others many say alike.
        /// </summary>
        public static IReadOnlyList<(string Name, string Element)> Links { get; } =
        [("derived-from", "derivedFrom"), ("has-member", "hasMember"), ("target", "target")];

        /// <summary>Its place in <see cref="Links"/>, from 1; 0 when it is not there.</summary>
        public int Link { get; } = Links.Select((link, at) => link.Name == Name ? at + 1 : 0).Max();
    }
}
