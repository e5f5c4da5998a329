using Hl7.Fhir.Model;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using NodaTime.Text;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Analytics;

/// <summary>What a Bulk Data export was asked for, as it is kept (https://hl7.org/fhir/uv/bulkdata, 2.0.0).</summary>
/// <param name="Address">The address that it was asked at, with its parameters.</param>
/// <param name="Base">The FHIR base, for links and for its own addresses in filters.</param>
/// <param name="OfPatients">Whether only what is about a patient is meant.</param>
/// <param name="Types">The types, each once.</param>
/// <param name="Since">Only what was stored after this.</param>
/// <param name="Filters">Searches, of which a resource of that type has to be found by one.</param>
/// <param name="Elements">Elements at the root that are wanted; empty for all.</param>
/// <param name="Patients">Whose; empty for all.</param>
/// <param name="PassedOver">Parameters that were passed over, as the client allowed.</param>
internal sealed record BulkRequest(
    string Address,
    string Base,
    bool OfPatients,
    IReadOnlyList<string> Types,
    Instant? Since,
    IReadOnlyList<BulkFilter> Filters,
    IReadOnlyList<BulkElement> Elements,
    IReadOnlyList<ScannedPatient> Patients,
    IReadOnlyList<string> PassedOver
)
{
    /// <summary>Names of the one format that is written.</summary>
    public static IReadOnlyList<string> Formats { get; } = ["application/fhir+ndjson", "application/ndjson", "ndjson"];

    private static readonly string[] Forbidden = ["_include", "_revinclude", "_sort", "_count", "_summary", "_elements", "_total", "_page"];

    /// <summary>The types that can be exported.</summary>
    public static IReadOnlyList<string> Exported { get; } = [.. IndexedTypes.All.Select(type => type.Name).Where(Exports.IsExported)];

    /// <summary>Reads what was asked for: all problems at once, or none.</summary>
    /// <param name="parameters">Names and values, decoded; a name may be there several times.</param>
    /// <param name="ofPatients">Whether it was asked at Patient.</param>
    /// <param name="lenient">Whether what is not understood is passed over.</param>
    /// <param name="address">The address that it was asked at.</param>
    /// <param name="context">What reading a search depends on.</param>
    public static (BulkRequest? Request, IReadOnlyList<OperationOutcome.IssueComponent> Problems) Read(
        IReadOnlyList<KeyValuePair<string, string>> parameters,
        bool ofPatients,
        bool lenient,
        string address,
        SearchContext context
    )
    {
        var problems = new List<OperationOutcome.IssueComponent>();
        var passedOver = new List<string>();
        void Problem(string name, string saw, string expected) =>
            problems.Add(Outcome.Problem("search-value-invalid", saw, expected, name));
        // Given several times means the same as one list with commas.
        IEnumerable<string> List(string name) =>
            parameters
                .Where(pair => pair.Key == name)
                .SelectMany(pair => pair.Value.Split(',', StringSplitOptions.TrimEntries | StringSplitOptions.RemoveEmptyEntries));

        foreach (var name in parameters.Select(pair => pair.Key).Distinct())
        {
            if (name is "_outputFormat" or "_since" or "_type" or "_typeFilter" or "_elements" or "_format" or "_pretty")
                continue;
            if (name == "patient" && ofPatients)
                continue;
            if (lenient)
                passedOver.Add(name);
            else
                problems.Add(
                    Outcome.Problem(
                        "search-parameter-unknown",
                        "a parameter that is not honoured here",
                        "_outputFormat, _since, _type, _typeFilter, _elements"
                            + (ofPatients ? ", patient" : "; patient at Patient/$export"),
                        name
                    )
                );
        }

        foreach (var format in List("_outputFormat").Where(format => !Formats.Contains(format.Replace(' ', '+'))))
            Problem("_outputFormat", $"'{format}'", $"one of {string.Join(", ", Formats)}");

        Instant? since = null;
        foreach (var text in List("_since"))
        {
            // A + that the sender did not percent-encode arrives as a space.
            if (OffsetDateTimePattern.Rfc3339.Parse(text.Replace(' ', '+')) is { Success: true, Value: var given })
                since = since is { } other && other < given.ToInstant() ? other : given.ToInstant();
            else
                Problem("_since", $"'{text}'", "an instant such as 2026-03-15T07:00:00Z");
        }

        var types = List("_type").Distinct().ToList();
        foreach (var type in types.Where(type => !Exported.Contains(type)).ToList())
        {
            types.Remove(type);
            if (lenient)
                passedOver.Add($"_type={type}");
            else
                Problem("_type", $"'{type}'", $"types that are held here: {string.Join(", ", Exported)}");
        }

        var asked = parameters.Any(pair => pair.Key == "_type");
        IReadOnlyList<string> wanted = asked ? [.. Exported.Where(types.Contains)] : Exported;
        var filters = ReadFilters(parameters, wanted, context, problems);
        var elements = new List<BulkElement>();
        foreach (var element in List("_elements"))
        {
            var parts = element.Split('.');
            var (type, name) = parts.Length == 2 ? (parts[0], parts[1]) : (null, element);
            if (parts.Length > 2 || !(type is null ? wanted : [type]).Any(of => BulkElements.Has(of, name)))
                Problem("_elements", $"'{element}'", "names of elements at the root, such as status, or Observation.status");
            else
                elements.Add(new(type, name));
        }

        var patients = new List<ScannedPatient>();
        foreach (var patient in ofPatients ? List("patient") : [])
        {
            if (Patient(patient, context.Base) is { } read)
                patients.Add(read);
            else
                Problem("patient", $"'{patient}'", "a reference such as Patient/one, or system|value of an identifier");
        }

        return problems.Count > 0
            ? (null, problems)
            : (new(address, context.Base, ofPatients, wanted, since, filters, elements, patients, passedOver), []);
    }

    private static List<BulkFilter> ReadFilters(
        IReadOnlyList<KeyValuePair<string, string>> parameters,
        IReadOnlyList<string> wanted,
        SearchContext context,
        List<OperationOutcome.IssueComponent> problems
    )
    {
        var filters = new List<BulkFilter>();
        foreach (var text in parameters.Where(pair => pair.Key == "_typeFilter").SelectMany(pair => Apart(pair.Value)))
        {
            var at = text.IndexOf('?', StringComparison.Ordinal);
            var type = at < 0 ? text : text[..at];
            if (at < 0 || !wanted.Contains(type))
            {
                problems.Add(
                    Outcome.Problem(
                        "search-value-invalid",
                        $"'{text}'",
                        $"a search such as {(wanted.Count > 0 ? wanted[0] : "Observation")}?status=final, of a type that is exported",
                        "_typeFilter"
                    )
                );
                continue;
            }

            var query = Query(text[(at + 1)..]);
            var forbidden = query.Select(pair => pair.Key).Where(name => Forbidden.Contains(name.Split(':')[0])).ToList();
            if (forbidden.Count > 0)
            {
                problems.Add(
                    Outcome.Problem(
                        "search-value-invalid",
                        string.Join(", ", forbidden),
                        "parameters that say which resources are meant",
                        "_typeFilter"
                    )
                );
                continue;
            }

            // What is not understood would export more than was meant: it is never passed over.
            var (search, faults) = SearchReader.Read(IndexedTypes.Find(type)!, query, context with { Strict = true });
            if (search is null)
                problems.AddRange(faults);
            else
                filters.Add(new(type, text[(at + 1)..]));
        }

        return filters;
    }

    /// <summary>Searches with commas between them: a comma ends one only where the next begins, as it may also stand in a value.</summary>
    private static IEnumerable<string> Apart(string text)
    {
        var begin = 0;
        for (var comma = text.IndexOf(',', StringComparison.Ordinal); comma >= 0; comma = text.IndexOf(',', comma + 1))
        {
            var rest = text[(comma + 1)..];
            if (!IndexedTypes.All.Any(type => rest.StartsWith($"{type.Name}?", StringComparison.Ordinal)))
                continue;
            yield return text[begin..comma];
            begin = comma + 1;
        }

        yield return text[begin..];
    }

    /// <summary>The parameters of a search.</summary>
    public static IReadOnlyList<KeyValuePair<string, string>> Query(string query) =>
        [
            .. Microsoft
                .AspNetCore.WebUtilities.QueryHelpers.ParseQuery(query)
                .SelectMany(pair => pair.Value.Select(value => KeyValuePair.Create(pair.Key, value ?? ""))),
        ];

    private static ScannedPatient? Patient(string text, string at)
    {
        if (text.IndexOf('|', StringComparison.Ordinal) is >= 0 and var bar)
            return bar + 1 < text.Length ? new(null, text[..bar], text[(bar + 1)..]) : null;
        var own = text.StartsWith($"{at}/", StringComparison.Ordinal) ? text[(at.Length + 1)..] : text;
        return own.StartsWith("Patient/", StringComparison.Ordinal) && own.Length > "Patient/".Length ? new(own, "", "") : null;
    }
}

/// <summary>A search that resources of a type have to be found by.</summary>
/// <param name="Type">The type.</param>
/// <param name="Query">The search, as it stands behind the question mark.</param>
internal sealed record BulkFilter(string Type, string Query);

/// <summary>An element at the root that is wanted.</summary>
/// <param name="Type">Of which type; null for every type.</param>
/// <param name="Name">Its name, as R4 defines it.</param>
internal sealed record BulkElement(string? Type, string Name);
