using System.Collections.Frozen;
using Hl7.Fhir.Model;

namespace IrrigationFhir.Validation;

/// <summary>The codes of every value set with a required binding, looked up in memory.</summary>
/// <remarks>
/// The validator's own terminology service waits on asynchronous code for each answer and starves the thread pool
/// under parallel load. All our required value sets can be counted out, so nothing has to be asked.
/// </remarks>
internal sealed class ValueSets
{
    /// <summary>Value sets that R4 defines by a rule and not by a list: any code passes.</summary>
    private static readonly FrozenSet<string> OpenSystems = new[]
    {
        "urn:ietf:bcp:13",
        "urn:ietf:bcp:47",
        "urn:iso:std:iso:4217",
    }.ToFrozenSet();

    private readonly FrozenDictionary<string, Codes> sets;

    /// <summary>Counts out the value sets.</summary>
    /// <param name="definitions">Value sets, and the code systems they draw from.</param>
    /// <exception cref="InvalidOperationException">
    /// A value set cannot be counted out: it filters, or its code system is missing.
    /// </exception>
    public ValueSets(IReadOnlyCollection<Resource> definitions)
    {
        var systems = definitions.OfType<CodeSystem>().ToDictionary(system => system.Url!);
        var known = definitions.OfType<ValueSet>().ToDictionary(set => set.Url!);
        sets = known.ToFrozenDictionary(set => set.Key, set => CountOut(set.Value, systems, known));
    }

    /// <summary>A value set as a question: whether a code, with its system or bare (null), belongs to it.</summary>
    /// <param name="valueSet">Canonical URL, with or without version.</param>
    /// <exception cref="InvalidOperationException">The value set is not in this assembly.</exception>
    public Func<string?, string, bool> Of(string valueSet) =>
        sets.TryGetValue(WithoutVersion(valueSet), out var codes)
            ? codes.Contain
            : throw new InvalidOperationException($"value set {valueSet} is not in this assembly");

    /// <summary>A canonical URL without its version.</summary>
    public static string WithoutVersion(string canonical)
    {
        var bar = canonical.IndexOf('|', StringComparison.Ordinal);
        return bar < 0 ? canonical : canonical[..bar];
    }

    private static Codes CountOut(ValueSet set, Dictionary<string, CodeSystem> systems, Dictionary<string, ValueSet> known)
    {
        var codes = new HashSet<(string, string)>();
        var open = false;
        foreach (var include in set.Compose?.Include ?? [])
        {
            if (include.Filter.Count > 0)
                throw new InvalidOperationException($"value set {set.Url} filters; a required value set has to list its codes");
            foreach (var other in include.ValueSet)
                codes.UnionWith(CountOut(known[WithoutVersion(other!)], systems, known).Listed);
            if (include.System is not { } system)
                continue;
            if (include.Concept.Count > 0)
                codes.UnionWith(include.Concept.Select(concept => (system, concept.Code!)));
            else if (OpenSystems.Contains(system))
                open = true;
            else if (systems.TryGetValue(system, out var all))
                codes.UnionWith(All(all.Concept).Select(code => (system, code)));
            else
                throw new InvalidOperationException($"value set {set.Url}: code system {system} is not in this assembly");
        }

        return new Codes(codes.ToFrozenSet(), codes.Select(code => code.Item2).ToFrozenSet(), open);
    }

    private static IEnumerable<string> All(IEnumerable<CodeSystem.ConceptDefinitionComponent> concepts) =>
        concepts.SelectMany(concept => All(concept.Concept).Prepend(concept.Code!));

    private sealed record Codes(FrozenSet<(string System, string Code)> Listed, FrozenSet<string> Bare, bool Open)
    {
        public bool Contain(string? system, string code) =>
            Open || (system is null ? Bare.Contains(code) : Listed.Contains((system, code)));
    }
}
