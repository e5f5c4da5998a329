#pragma warning disable ExperimentalApi // as in ProfileRules
using System.Collections.Frozen;
using Firely.Fhir.Validation;
using Hl7.Fhir.ElementModel;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;

namespace IrrigationFhir.Validation;

/// <summary>What an element has to keep to.</summary>
internal abstract class Rule
{
    /// <summary>Judges one instance.</summary>
    public abstract void Check(PocoNode node, Findings findings);

    /// <summary>Judges all instances of a repeating element together.</summary>
    public virtual void CheckAll(PocoNodeOrList nodes, Findings findings)
    {
        foreach (var node in nodes)
            Check(node, findings);
    }
}

/// <summary>The faults of one resource, and what the validator's rules need to run. Used by one thread.</summary>
internal sealed class Findings
{
    private List<ProfileFault>? faults;

    /// <summary>Settings for the validator's single rules; they neither look up nor resolve anything.</summary>
    public static ValidationSettings Settings { get; } = new() { ModelInspector = ModelInfo.ModelInspector };

    /// <summary>State for the validator's rules.</summary>
    public ValidationState State { get; } = new();

    /// <summary>What was found so far, each fault once.</summary>
    public IReadOnlyList<ProfileFault> Faults => faults is null ? [] : [.. faults.Distinct()];

    /// <summary>How many were found so far, repeats included.</summary>
    public int Count => faults?.Count ?? 0;

    /// <summary>Notes a fault.</summary>
    public void Add(string key, PocoNodeOrList at, string text) => (faults ??= []).Add(new(key, PathOf(at), text));

    /// <summary>Notes what one of the validator's rules reported.</summary>
    public void Add(string key, PocoNodeOrList at, ResultReport report) =>
        Add(key, at, string.Join("; ", report.Evidence.OfType<IssueAssertion>().Select(issue => issue.Message)));

    private static string PathOf(PocoNodeOrList at) =>
        at switch
        {
            PocoNode node => ((IShortPathGenerator)node).ShortPath,
            { Parent: { } parent } => $"{PathOf(parent)}.{at.Name}",
            _ => at.Name,
        };
}

/// <summary>Several rules. A wrong type ends the matter: nothing else said about it would make sense.</summary>
internal sealed class All(Rule[] rules) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        foreach (var rule in rules)
        {
            var before = findings.Count;
            rule.Check(node, findings);
            if (rule is TypeIs && findings.Count > before)
                return;
        }
    }

    public override void CheckAll(PocoNodeOrList nodes, Findings findings)
    {
        foreach (var rule in rules)
        {
            var before = findings.Count;
            rule.CheckAll(nodes, findings);
            if (rule is TypeIs && findings.Count > before)
                return;
        }
    }
}

/// <summary>One of the validator's rules about a single instance.</summary>
internal sealed class Single(string key, IValidatable rule) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        var report = rule.Validate(node, Findings.Settings, findings.State);
        if (!report.IsSuccessful)
            findings.Add(key, node, report);
    }
}

/// <summary>A rule that can only fail where a condition holds: elsewhere it need not run.</summary>
internal sealed class Where(Func<PocoNode, bool> condition, Rule rule) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        if (condition(node))
            rule.Check(node, findings);
    }
}

/// <summary>One of the validator's rules about all instances of an element.</summary>
internal sealed class Group(string key, IGroupValidatable rule) : Rule
{
    public override void Check(PocoNode node, Findings findings) => CheckAll(node, findings);

    public override void CheckAll(PocoNodeOrList nodes, Findings findings)
    {
        var report = rule.Validate(nodes, Findings.Settings, findings.State);
        if (!report.IsSuccessful)
            findings.Add(key, nodes, report);
    }
}

/// <summary>ele-1: an element has a value or children.</summary>
internal sealed class HasContent : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        if (node.Poco is PrimitiveType { JsonValue: not null })
            return;
        foreach (var (name, _) in node.Poco.EnumerateElements())
        {
            if (name != "id")
                return;
        }

        findings.Add("ele-1", node, "an element has a value or children");
    }
}

/// <summary>
/// obs-7: with a value, no component has a code of the Observation itself. As FHIRPath it takes as long as all the rest together.
/// </summary>
internal sealed class ComponentCodesDiffer : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        if (
            node.Poco is Observation { Value: not null, Code: { } code } observation
            && observation.Component.Any(component => component.Code?.Coding.Any(coding => code.Coding.Any(coding.IsExactly)) ?? false)
        )
            findings.Add("obs-7", node, "a component has the code of the Observation");
    }
}

/// <summary>How often an element occurs.</summary>
internal sealed class Count(CardinalityValidator limits) : Rule
{
    public override void Check(PocoNode node, Findings findings) => CheckAll(node, findings);

    public override void CheckAll(PocoNodeOrList nodes, Findings findings)
    {
        var count = nodes is PocoListNode list ? list.Pocos.Count : 1;
        if (count > 0 && (count < limits.Min || count > limits.Max))
            findings.Add(
                FaultKind.Cardinality,
                nodes,
                $"{nodes.Name}: {count}; expected {limits.Min ?? 0}..{(limits.Max is { } most ? most : "*")}"
            );
    }
}

/// <summary>Which elements have to be there.</summary>
internal sealed class Present(string[] names) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        foreach (var name in names)
        {
            if (node.Child(name) is null)
                findings.Add(FaultKind.Cardinality, node, $"{name} is missing");
        }
    }
}

/// <summary>
/// The elements that are there, each by its own rule. Those that are not there are the business of <see cref="Present"/>.
/// </summary>
internal sealed class Children(FrozenDictionary<string, Rule> byName) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        foreach (var child in node.Children())
        {
            if (byName.TryGetValue(child.Name, out var rule))
                rule.CheckAll(child, findings);
            else
                findings.Add(FaultKind.UnknownElement, child, $"{child.Name} is not defined here");
        }
    }
}

/// <summary>One slice: what belongs to it, how often it occurs (no upper limit if null), and what holds for each instance.</summary>
internal sealed record Slice(string Name, Func<PocoNode, bool> Includes, int Least, int? Most, Rule? Rule);

/// <summary>A repeating element cut into slices. An instance belongs to the first slice that includes it.</summary>
internal sealed class Slices(Slice[] slices, Rule? outside) : Rule
{
    public override void Check(PocoNode node, Findings findings) => CheckAll(node, findings);

    public override void CheckAll(PocoNodeOrList nodes, Findings findings)
    {
        Span<int> counts = stackalloc int[slices.Length];
        counts.Clear();
        foreach (var node in nodes)
        {
            var at = IndexOf(node);
            if (at < 0)
            {
                outside?.Check(node, findings);
                continue;
            }

            counts[at]++;
            slices[at].Rule?.Check(node, findings);
        }

        for (var i = 0; i < slices.Length; i++)
        {
            if (counts[i] < slices[i].Least)
                findings.Add(FaultKind.Slicing, nodes, $"{nodes.Name}:{slices[i].Name} is missing");
            else if (counts[i] > slices[i].Most)
                findings.Add(
                    FaultKind.Cardinality,
                    nodes,
                    $"{nodes.Name}:{slices[i].Name}: {counts[i]}; expected at most {slices[i].Most}"
                );
        }
    }

    private int IndexOf(PocoNode node)
    {
        for (var i = 0; i < slices.Length; i++)
        {
            if (slices[i].Includes(node))
                return i;
        }

        return -1;
    }
}

/// <summary>The instance is of this type.</summary>
internal sealed class TypeIs(string type) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        if (node.Poco.TypeName != type)
            findings.Add(FaultKind.Type, node, $"{node.Poco.TypeName}; expected {type}");
    }
}

/// <summary>What holds for a type, found when it is first needed: types refer to one another in circles.</summary>
internal sealed class ToType(Func<Rule> find) : Rule
{
    private Rule? found;

    public override void Check(PocoNode node, Findings findings) => (found ??= find()).Check(node, findings);
}

/// <summary>An element of an abstract type: the instance's own type decides.</summary>
internal sealed class ByType(Func<string, Rule?> find) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        if (find(node.Poco.TypeName) is { } rule)
            rule.Check(node, findings);
        else
            findings.Add(FaultKind.Type, node, $"{node.Poco.TypeName} is not a type this service knows");
    }
}

/// <summary>A contained resource: judged like any other.</summary>
internal sealed class ByResource(Action<PocoNode, Findings> judge) : Rule
{
    public override void Check(PocoNode node, Findings findings) => judge(node, findings);
}

/// <summary>
/// An extension: its URL decides, and one that is not in the fixed set is a fault. A part of another one, whose URL is a mere name, is that
/// one's to define: here it is judged as any extension.
/// </summary>
internal sealed class ByExtensionUrl(Func<string, Rule?> find, Func<Rule?> any) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        var url = (node.Poco as Extension)?.Url;
        if (url is not null && (IsPart(node, url) ? any() : find(url)) is { } rule)
            rule.Check(node, findings);
        else
            findings.Add(FaultKind.UnknownExtension, node, $"extension {url} is not known here");
    }

    private static bool IsPart(PocoNode node, string url) =>
        !url.Contains(':', StringComparison.Ordinal)
        && (node.Parent is PocoNode parent ? parent.Poco is Extension : node.Parent?.Parent is PocoNode { Poco: Extension });
}

/// <summary>A code from a value set, required.</summary>
internal sealed class Bound(string valueSet, Func<string?, string, bool> contains) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        if (!Holds(node))
            findings.Add(FaultKind.Binding, node, $"no code of {valueSet}");
    }

    /// <summary>Whether the instance, if it can hold a code at all, holds one of the value set.</summary>
    public bool Holds(PocoNode node) =>
        node.Poco switch
        {
            CodeableConcept concept => concept.Coding.Any(Holds),
            Coding coding => Holds(coding),
            Quantity { Code: { } unit } quantity => contains(quantity.System ?? "", unit),
            Quantity => false,
            PrimitiveType { JsonValue: string code } => contains(null, code),
            _ => true,
        };

    private bool Holds(Coding coding) => coding.Code is { } code && contains(coding.System ?? "", code);
}

/// <summary>The instance has at least what a pattern has: equal values, and for each repetition in the pattern one that fits.</summary>
internal sealed class Fits(Base pattern) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        if (!Holds(node))
            findings.Add(FaultKind.Pattern, node, $"expected {FhirJsonSerializer.Default.SerializeToString(pattern)}");
    }

    /// <summary>Whether the instance fits.</summary>
    public bool Holds(PocoNode node) => Holds(node.Poco, pattern);

    private static bool Holds(Base instance, Base pattern)
    {
        if (pattern is PrimitiveType primitive)
            return instance is PrimitiveType value && Equals(value.JsonValue, primitive.JsonValue);
        foreach (var (name, wanted) in pattern.EnumerateElements())
        {
            if (!instance.TryGetValue(name, out var found) || !Holds(found, wanted))
                return false;
        }

        return true;
    }

    private static bool Holds(object found, object wanted) =>
        (found, wanted) switch
        {
            (Base one, Base other) => Holds(one, other),
            (IEnumerable<Base> many, IEnumerable<Base> others) => others.All(other => many.Any(one => Holds(one, other))),
            _ => Equals(found, wanted),
        };
}

/// <summary>A reference names a type of resource that is allowed here, or none.</summary>
internal sealed class PointsTo(FrozenSet<string> types) : Rule
{
    public override void Check(PocoNode node, Findings findings)
    {
        if (node.Poco is ResourceReference reference && ReferenceTargets.TypeOf(reference) is { } type && !types.Contains(type))
            findings.Add(
                FaultKind.ReferenceTarget,
                node,
                $"a reference to {type}; expected {string.Join(", ", types.Order(StringComparer.Ordinal))}"
            );
    }
}
