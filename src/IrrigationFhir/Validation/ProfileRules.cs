// The validator's rules are public but marked as subject to change: the versions are pinned, and a test
// compares our verdicts with those of the validator's own entry point.
#pragma warning disable ExperimentalApi
using System.Collections.Frozen;
using Firely.Fhir.Validation;
using Firely.Fhir.Validation.Compilation;
using Hl7.Fhir.Model;
using Hl7.Fhir.Specification.Source;
using Canonical = Firely.Fhir.Validation.Canonical;

namespace IrrigationFhir.Validation;

/// <summary>All profiles and types of the fixed set, as rules that run without looking anything up.</summary>
/// <remarks>
/// The single rules (invariants, patterns, regular expressions) are the Firely validator's. What joins them
/// (elements, children, slices, references to types) is ours: the validator's own tries every slice by writing out the
/// whole element as text, visits every element that is not there, and asks a terminology service that blocks.
/// One corrected urine output with 13 components takes less than a tenth of the time and memory this way.
/// Immutable once built, so any number of threads may use it; invariants are compiled when they first run.
/// </remarks>
internal sealed class ProfileRules
{
    private const string Core = "http://hl7.org/fhir/StructureDefinition/";

    private readonly FrozenDictionary<string, Rule> byUrl;
    private readonly FrozenDictionary<string, Rule> invariants;
    private readonly FrozenDictionary<string, string?> versions;
    private readonly ValueSets valueSets;
    private readonly ReferenceTargets targets;

    /// <summary>Builds the rules of every structure.</summary>
    /// <param name="definitions">Everything that may be looked up, ever. Structures are changed in place: see <see cref="Amend"/>.</param>
    /// <exception cref="InvalidOperationException">A structure refers to something outside the set.</exception>
    public ProfileRules(IReadOnlyCollection<Resource> definitions)
    {
        var structures = definitions.OfType<StructureDefinition>().ToList();
        valueSets = new ValueSets(definitions);
        targets = new ReferenceTargets(structures.Where(structure => structure.Url!.StartsWith(Core, StringComparison.Ordinal)));
        versions = structures.ToFrozenDictionary(structure => structure.Url!, structure => structure.Version);
        structures.ForEach(Amend);

        var schemas = StructureDefinitionToElementSchemaResolver.CreatedCached(new InMemoryResourceResolver(definitions));
        invariants = structures
            .Where(structure => structure.Url == Core + structure.Type)
            .ToFrozenDictionary(
                structure => structure.Type!,
                structure =>
                    Together(MembersOf(schemas.GetSchema(new Canonical(structure.Url!))!).OfType<FhirPathValidator>(), structure.Type!)
            );
        byUrl = structures
            .SelectMany(structure => OfStructure(structure, schemas.GetSchema(new Canonical(structure.Url!))!))
            .ToFrozenDictionary();
    }

    /// <summary>Judges a resource by the profiles it claims, or by its type if it claims none.</summary>
    /// <returns>All faults; empty when valid.</returns>
    public IReadOnlyList<ProfileFault> Judge(Resource resource)
    {
        var findings = new Findings();
        JudgeResource(resource.ToPocoNode(ModelInfo.ModelInspector), findings);
        return findings.Faults;
    }

    private void JudgeResource(PocoNode node, Findings findings)
    {
        var claimed = false;
        foreach (var profile in ((Resource)node.Poco).Meta?.Profile ?? [])
        {
            switch (Find(profile!))
            {
                case null:
                    findings.Add(FaultKind.UnknownProfile, node, $"profile {profile} is not known here");
                    break;
                case ByResource: // Resource or DomainResource: true of any, so the type decides
                    break;
                case var rule:
                    claimed = true;
                    rule.Check(node, findings);
                    break;
            }
        }

        if (claimed)
            return;
        if (byUrl.TryGetValue(Core + node.Poco.TypeName, out var type))
            type.Check(node, findings);
        else
            findings.Add(FaultKind.Type, node, $"{node.Poco.TypeName} is not a resource this service knows");
    }

    private Rule? Find(string canonical)
    {
        var url = ValueSets.WithoutVersion(canonical);
        return
            versions.TryGetValue(url, out var version)
            && (url.Length == canonical.Length || canonical.AsSpan(url.Length + 1).SequenceEqual(version))
            ? byUrl[url]
            : null;
    }

    /// <summary>
    /// What the validator must not take from the definitions: ref-1 of R4 as the validator reads it refuses a reference
    /// by identifier alone; target profiles would have to be resolved; only required bindings decide; a warning refuses nothing.
    /// </summary>
    private static void Amend(StructureDefinition structure)
    {
        foreach (var element in structure.Snapshot!.Element)
        {
            element.Constraint.RemoveAll(constraint => constraint.Severity != ConstraintSeverity.Error);
            foreach (var constraint in element.Constraint.Where(constraint => constraint.Key == "ref-1"))
                constraint.Expression =
                    "reference.exists() implies (reference = '#' or reference.startsWith('#').not() or reference.substring(1) "
                    + "in %rootResource.contained.id)";
            foreach (var type in element.Type)
                type.TargetProfileElement.Clear();
            if (element.Binding is { Strength: not BindingStrength.Required })
                element.Binding = null;
        }
    }

    /// <summary>
    /// The rules of a structure by its URL, and of parts that others repeat by URL and anchor
    /// (<c>…/Observation#Observation.referenceRange</c>).
    /// </summary>
    private IEnumerable<KeyValuePair<string, Rule>> OfStructure(StructureDefinition structure, ElementSchema schema)
    {
        yield return new(
            structure.Url!,
            structure.Url switch
            {
                Core + "Resource" or Core + "DomainResource" => new ByResource(JudgeResource),
                Core + "Element" or Core + "BackboneElement" => new ByType(typeName => byUrl!.GetValueOrDefault(Core + typeName)),
                _ => Together(MembersOf(schema), structure.Type!),
            }
        );
        foreach (
            var (step, part) in MembersOf(schema)
                .OfType<DefinitionsAssertion>()
                .SelectMany(parts => ((IAssertionContainer)parts).Children())
        )
            yield return new($"{structure.Url}#{step.Anchor!.TrimStart('#')}", Together(MembersOf(part), step.Anchor.TrimStart('#')));
    }

    private Rule Together(IEnumerable<IAssertion> members, string path)
    {
        var listed = members.ToList();
        // The type says ele-1 again: once is enough.
        if (listed.Any(member => member is SchemaReferenceValidator or AllValidator { Members: [SchemaReferenceValidator, ..] }))
            listed.RemoveAll(member => member is FhirEle1Validator or FhirExt1Validator);
        var rules = listed.Select(member => OfAssertion(member, path)).OfType<Rule>().ToArray();
        return rules is [var only] ? only : new All([.. rules.OrderByDescending(rule => rule is TypeIs)]);
    }

    private Rule? OfAssertion(IAssertion assertion, string path) =>
        assertion switch
        {
            FhirEle1Validator => new HasContent(),
            InvariantValidator { Key: "obs-7" } => new ComponentCodesDiffer(),
            InvariantValidator invariant => OfInvariant(invariant),
            BindingValidator binding => BoundTo(binding),
            CardinalityValidator count => new Count(count),
            RequiredValidator required => new Present([.. required.RequiredMembers]),
            ChildrenValidator children => new Children(
                children.ToFrozenDictionary(child => child.Key, child => OfChild(child.Value, $"{path}.{child.Key}"))
            ),
            SliceValidator slices => OfSlices(slices, path),
            AllValidator all => Together(all.Members.Where(member => member is not ReferencedInstanceValidator), path),
            SchemaReferenceValidator { SchemaUri: var type } => type.ToString() switch
            {
                Core + "Extension" => new ByExtensionUrl(
                    url => byUrl!.GetValueOrDefault(url),
                    () => byUrl!.GetValueOrDefault(Core + "Extension")
                ),
                var url when url.StartsWith(Core, StringComparison.Ordinal) => new ToType(() =>
                    byUrl!.GetValueOrDefault(url) ?? throw new InvalidOperationException($"{path}: {url} is not in this assembly")
                ),
                _ => null, // FHIRPath's own types, without rules
            },
            FhirTypeLabelValidator label => new TypeIs(label.Label),
            BaseType { Type: not ("Element" or "BackboneElement") } type => new TypeIs(type.Type),
            ElementSchema element => Together(MembersOf(element), path),
            BaseTypeInvariantConstraintsValidator => new ByType(typeName => invariants!.GetValueOrDefault(typeName, new All([]))),
            PatternValidator pattern => new Fits(pattern.PatternValue.Poco),
            FixedValidator fixedValue => new Single(FaultKind.Pattern, fixedValue),
            IssueAssertion outsideSlices => new Single(FaultKind.Slicing, outsideSlices),
            ReferencedInstanceValidator or DefinitionsAssertion => null,
            IGroupValidatable group => new Group(FaultKind.Value, group),
            IValidatable value => new Single(FaultKind.Value, value),
            _ => null,
        };

    /// <summary>
    /// An invariant, run only where it has something to say. As FHIRPath these few took most of the time of a validation, nearly
    /// always to find that there is nothing contained, nothing absent, or no local reference. What they do say is still the validator's
    /// word.
    /// </summary>
    private static Rule OfInvariant(InvariantValidator invariant)
    {
        Rule rule = new Single(invariant.Key, invariant);
        return invariant.Key switch
        {
            "dom-2" or "dom-3" or "dom-4" or "dom-5" => new Where(node => node.Poco is not DomainResource { Contained: [] }, rule),
            "obs-6" => new Where(node => node.Poco is not Observation { DataAbsentReason: null } and not Observation { Value: null }, rule),
            "qty-3" => new Where(
                node => node.Poco is not Quantity { CodeElement: null } and not Quantity { SystemElement.Extension: [], System: not null },
                rule
            ),
            "per-1" => new Where(node => node.Poco is not Period { StartElement: null } and not Period { EndElement: null }, rule),
            "ref-1" => new Where(
                node =>
                    node.Poco is not ResourceReference { ReferenceElement: null }
                    && !(node.Poco is ResourceReference { Reference: { } reference } && !reference.StartsWith('#')),
                rule
            ),
            _ => rule,
        };
    }

    private Bound BoundTo(BindingValidator binding)
    {
        var valueSet = binding.ValueSetUri.ToString();
        return new(valueSet, valueSets.Of(valueSet));
    }

    private static IEnumerable<IAssertion> MembersOf(IAssertion assertion) =>
        assertion is IAssertionContainer container ? container.Children().Select(child => child.Item2) : [];

    private Rule OfChild(IAssertion assertion, string path)
    {
        var rule = OfAssertion(assertion, path) ?? new All([]);
        return targets.At(path) is { } allowed ? new All([rule, new PointsTo(allowed)]) : rule;
    }

    private Slices OfSlices(SliceValidator slicing, string path) =>
        new(
            [
                .. slicing.Slices.Select(slice =>
                {
                    var count = MembersOf(slice.Assertion).OfType<CardinalityValidator>().FirstOrDefault();
                    return new Slice(
                        slice.Name,
                        OfCondition(slice.Condition),
                        Math.Max(count?.Min ?? 0, slice.Required ? 1 : 0),
                        count?.Max,
                        OfAssertion(slice.Assertion, path)
                    );
                }),
            ],
            OfAssertion(slicing.Default, path)
        );

    private Func<PocoNode, bool> OfCondition(IAssertion condition)
    {
        switch (condition)
        {
            case PathSelectorValidator { Path: "$this", Other: var here }:
                return OfCondition(here);
            case PathSelectorValidator { Path: var name, Other: var there } when name.All(char.IsAsciiLetter):
                var below = OfCondition(there);
                return node => node.Child(name) is { } child && child.Count() == 1 && below(child.First());
            case AllValidator { Members: var members }:
                var all = members.Select(OfCondition).ToArray();
                return node => all.All(each => each(node));
            case FhirTypeLabelValidator { Label: var label }:
                return node => node.Poco.TypeName == label;
            case BindingValidator binding:
                return BoundTo(binding).Holds;
            case PatternValidator { PatternValue.Poco: var pattern }:
                return new Fits(pattern).Holds;
            case IValidatable any:
                return node => any.Validate(node, Findings.Settings, new ValidationState()).IsSuccessful;
            default:
                throw new NotSupportedException($"slice condition {condition.GetType().Name}");
        }
    }
}
