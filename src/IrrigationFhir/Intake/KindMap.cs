using System.Collections.Frozen;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Intake;

/// <summary>What a code says happened.</summary>
/// <param name="Kind">The entry's kind.</param>
/// <param name="Words">
/// Words of the entry that the code fixes, by property: <c>how</c>, <c>route</c>, <c>weightKind</c>, <c>clarity</c>; and
/// <see cref="KindMap.Hours"/>.
/// </param>
internal sealed record MappedKind(string Kind, IReadOnlyDictionary<string, string> Words);

/// <summary>From a sender's codes to kinds of entry: a FHIR R4 ConceptMap, ours or one that the site sets.</summary>
internal sealed class KindMap
{
    /// <summary>Kinds that an Observation can say; the others are no observations and go to the entries API.</summary>
    public static readonly FrozenSet<string> Observed = new[]
    {
        "bag-hung",
        "bag-read",
        "bag-taken-down",
        "irrigant-instilled",
        "irrigant-discarded",
        "flow-set",
        "pump-total-read",
        "drainage-emptied",
        "drainage-level-read",
        "drainage-weighed",
        "container-taken-away",
        "blood-removed",
        "leak-estimated",
        "urine-collected",
        "drain-clamped",
        "drain-released",
        "bladder-scanned",
        "drainage-appearance",
        "tolerance-noted",
        "weight-measured",
        "catheter-removed",
    }.ToFrozenSet();

    /// <summary>The word that is no property of the entry: for how many hours a timed code stands.</summary>
    public const string Hours = "hours";

    private static readonly FrozenSet<string> WordsRead = new[]
    {
        "how",
        "route",
        "weightKind",
        "clarity",
        "colour",
        "line",
        "container",
        Hours,
    }.ToFrozenSet();

    private readonly FrozenDictionary<(string System, string Code), MappedKind> kinds;

    private KindMap(FrozenDictionary<(string, string), MappedKind> kinds, Profiles profiles) => (this.kinds, Profiles) = (kinds, profiles);

    /// <summary>The base of our own codes, which need no map where they say a measuring way, a route or a component.</summary>
    public Profiles Profiles { get; }

    /// <summary>The map that the configuration names, or ours.</summary>
    /// <exception cref="SettingsFault">The file cannot be used; the message names every fault.</exception>
    public static KindMap Read(IConfiguration configuration, Profiles profiles)
    {
        if (configuration["Intake:ConceptMap"] is not { Length: > 0 } path)
            return Parse(Definitions.EntryKindMap(profiles.CanonicalBase), "the built-in map", profiles);
        try
        {
            return Parse(File.ReadAllText(path), path, profiles);
        }
        catch (Exception fault) when (fault is IOException or UnauthorizedAccessException)
        {
            var what = $"'{path}' cannot be read ({fault.GetType().Name})";
            throw new SettingsFault([$"Intake:ConceptMap: {what}; the path of a FHIR R4 ConceptMap in JSON is expected"]);
        }
    }

    /// <summary>Reads a map.</summary>
    /// <exception cref="SettingsFault">It cannot be used; the message names every fault.</exception>
    public static KindMap Parse(string json, string name, Profiles profiles)
    {
        ConceptMap map;
        try
        {
            map = FhirJsonDeserializer.DEFAULT.Deserialize<ConceptMap>(json);
        }
        catch (Exception fault) when (fault is DeserializationFailedException or FormatException or System.Text.Json.JsonException)
        {
            throw new SettingsFault([$"Intake:ConceptMap: {name} is no valid FHIR R4 ConceptMap: {fault.Message}"]);
        }

        var faults = new List<string>();
        var kinds = new Dictionary<(string, string), MappedKind>();
        foreach (var (group, element) in map.Group.SelectMany(group => group.Element.Select(element => (group, element))))
        {
            var at = $"{group.Source}|{element.Code}";
            var targets = element
                .Target.Where(t => t.Equivalence is not (ConceptMapEquivalence.Unmatched or ConceptMapEquivalence.Disjoint))
                .ToList();
            if (targets.Count == 0)
                continue;
            if (group.Target != profiles.CodeSystem("entry-kind"))
                faults.Add($"{at}: target system '{group.Target}'; {profiles.CodeSystem("entry-kind")} is expected");
            else if (targets is not [var target])
                faults.Add($"{at}: {targets.Count} targets; one is expected");
            else if (string.IsNullOrEmpty(group.Source) || string.IsNullOrEmpty(element.Code))
                faults.Add($"{at}: no system or no code; both are expected");
            else if (target.Code is null || !Observed.Contains(target.Code))
                faults.Add($"{at}: target '{target.Code}'; one of {string.Join(", ", Observed.Order(StringComparer.Ordinal))} is expected");
            else if (target.Product.Find(p => !WordsRead.Contains(Property(p))) is { } unknown)
                faults.Add(
                    $"{at}: product '{unknown.Property}'; a property that ends in # and one of "
                        + $"{string.Join(", ", WordsRead.Order(StringComparer.Ordinal))} is expected"
                );
            else if (
                target.Product.Exists(p => Property(p) == Hours && !(int.TryParse(p.Value, out var hours) && hours is >= 1 and <= 168))
            )
                faults.Add($"{at}: product 'hours'; a whole number from 1 to 168 is expected");
            else if (
                !kinds.TryAdd(
                    (group.Source, element.Code),
                    new(target.Code, target.Product.ToFrozenDictionary(Property, p => p.Value ?? ""))
                )
            )
                faults.Add($"{at}: twice; each code once is expected");
        }

        if (kinds.Count == 0 && faults.Count == 0)
            faults.Add($"{name}: no code at all; at least one is expected");
        return faults.Count == 0
            ? new(kinds.ToFrozenDictionary(), profiles)
            : throw new SettingsFault(faults.Select(fault => $"Intake:ConceptMap: {fault}"));
    }

    /// <summary>What a code says happened; null where the map does not say.</summary>
    public MappedKind? Find(string? system, string? code) => kinds.GetValueOrDefault((system ?? "", code ?? ""));

    private static string Property(ConceptMap.OtherElementComponent product) =>
        product.Property is { } uri ? uri[(uri.IndexOf('#', StringComparison.Ordinal) + 1)..] : "";
}
