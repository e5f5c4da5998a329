using System.Globalization;
using System.Text;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Audit;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Http.Extensions;

namespace IrrigationFhir.Rest;

/// <summary>AuditEvents, for those who may: read and searched, and nothing else.</summary>
/// <remarks>
/// They are no resources of the store: no version, no history, nobody writes them here. What is searched is the table of the audit, by its
/// columns, and by what the entries say where no column tells it.
/// </remarks>
internal sealed class AuditReading(AuditStore store, JudgedEvents judged, FhirSettings settings, StoreSettings kept)
{
    private readonly FhirSettings settings = settings;
    private readonly StoreSettings kept = kept;

    private const string Type = "AuditEvent";
    private const string LatestFirst = "-date";
    private const string OldestFirst = "date";

    /// <summary>What the CapabilityStatement says of it.</summary>
    public const string Policy =
        "By the patterns of IHE BALP; for clients that are registered for it alone. Read and searched: an event is written with what it "
        + "tells of, and neither created, changed nor deleted by anybody. The latest comes first; _sort takes date and -date. Without "
        + "chains, :missing, :not, _include and _revinclude. A page may end early where little matches; it is followed by its next link "
        + "all the same. A number (_summary=count, _count=0, _total) is refused where too much would have to be read for it.";

    /// <summary>A parameter that is searched by.</summary>
    /// <param name="Name">Its name.</param>
    /// <param name="Kind">Its type.</param>
    /// <param name="Says">How it is understood here; null as everywhere.</param>
    private sealed record Parameter(string Name, SearchParamType Kind, string? Says = null);

    private static readonly Parameter[] Parameters =
    [
        new("_id", SearchParamType.Token),
        new("action", SearchParamType.Token),
        new("agent", SearchParamType.Reference, "As agent.identifier or agent:identifier: the id of the client."),
        new("date", SearchParamType.Date, "When it was done. Prefixes eq, lt, le, gt, ge."),
        new("entity", SearchParamType.Reference, "A resource, as Observation/[id] in whatever version."),
        new("outcome", SearchParamType.Token),
        new("patient", SearchParamType.Reference, "As patient.identifier or patient:identifier: system|value, or a value alone."),
        new("subtype", SearchParamType.Token),
        new("type", SearchParamType.Token),
    ];

    // A part of it is none: who may read what was done may read all of it, of the facilities that they see.
    private static AccessNeeds Needs => AccessNeeds.Whole((Type, Letters.Read | Letters.Search));

    private static string Expected =>
        string.Join(", ", Parameters.Select(parameter => parameter.Name)) + ", _count, _sort, _total, _summary, _elements";

    /// <summary>Its addresses.</summary>
    public ReadableFhir Table() =>
        new([
            new($"{Type}/{{id}}", Read, Needs),
            new(Type, Search, Needs),
            new($"{Type}/_search", Search, Needs) { Posted = PostedBody.Form },
        ]);

    /// <summary>What the CapabilityStatement claims.</summary>
    public static void Claim(CapabilityStatement statement) =>
        statement
            .Rest[0]
            .Resource.Add(
                new()
                {
                    TypeElement = new() { JsonValue = Type },
                    Documentation = Policy,
                    Interaction =
                    [
                        new() { Code = CapabilityStatement.TypeRestfulInteraction.Read },
                        new() { Code = CapabilityStatement.TypeRestfulInteraction.SearchType },
                    ],
                    SearchParam =
                    [
                        .. Parameters.Select(parameter => new CapabilityStatement.SearchParamComponent
                        {
                            Name = parameter.Name,
                            Definition =
                                parameter.Name == "_id"
                                    ? "http://hl7.org/fhir/SearchParameter/Resource-id"
                                    : $"http://hl7.org/fhir/SearchParameter/{Type}-{parameter.Name}",
                            Type = parameter.Kind,
                            Documentation = parameter.Says,
                        }),
                    ],
                }
            );

    private async Task<IFhirAnswer> Read(FhirQuestion asked)
    {
        var (shape, problems) = Shaping.OfRead(asked.Query);
        if (shape is null)
            return Refused(problems);
        return
            long.TryParse(asked.Id, NumberStyles.None, CultureInfo.InvariantCulture, out var number)
            && await store.Find(number, FacilitiesOf(asked), asked.Stop) is { } row
            ? new Answer(ToEvent(row), [row], asked.Id, shape)
            : FhirReading.NotFound($"{Type}/{asked.Id}");
    }

    private async Task<IFhirAnswer> Search(FhirQuestion asked)
    {
        var reader = new Reader(this, asked);
        foreach (var (name, value) in asked.Parameters)
            reader.Take(name, value);
        if (reader.Finish() is { Count: > 0 } problems)
            return Refused(problems);

        var total = reader.WithTotal ? await store.Count(reader.Query, asked.Stop) : null;
        if (reader.WithTotal && total is null)
        {
            const string Narrower = "a narrower query: with patient.identifier, agent.identifier or date; or a search without the number";
            return Refused([Outcome.Problem("query-too-costly", "a number for which too much would have to be read", Narrower, null)]);
        }

        var page = reader.CountOnly ? new([], null) : await store.Search(reader.Query, asked.Stop);
        var at = asked.Base;
        string Address(string? mark) =>
            $"{at}/{Type}"
            + new QueryBuilder(mark is null ? reader.Honoured : reader.Honoured.Append(new(SearchRequest.PageParameter, mark)));
        var next = page.Next is { } last
            ? Address(PageMark.Write(reader.Order, new([last.Recorded], last.Number.ToString(CultureInfo.InvariantCulture))))
            : null;
        var bundle = new Bundle
        {
            Type = Bundle.BundleType.Searchset,
            Total = total,
            Link =
            [
                new() { Relation = "self", Url = Address(reader.Page) },
                .. next is null ? Array.Empty<Bundle.LinkComponent>() : [new() { Relation = "next", Url = next }],
            ],
            Entry =
            [
                .. page
                    .Rows.Select(ToEvent)
                    .Select(told => new Bundle.EntryComponent
                    {
                        FullUrl = $"{at}/{Type}/{told.Id}",
                        Resource = told,
                        Search = new() { Mode = Bundle.SearchEntryMode.Match },
                    }),
            ],
        };
        if (reader.PassedOver.Count > 0)
        {
            bundle.Entry.Add(
                new()
                {
                    Resource = Outcome.Of(reader.PassedOver),
                    Search = new() { Mode = Bundle.SearchEntryMode.Outcome },
                }
            );
        }

        return new Answer(bundle, page.Rows, null, reader.Shape);
    }

    private AuditEvent ToEvent(AuditRow row)
    {
        judged.Look(row);
        return AuditEventMapper.ToEvent(row);
    }

    private static OutcomeResult Refused(IReadOnlyList<OperationOutcome.IssueComponent> problems) =>
        new(StatusCodes.Status400BadRequest, Outcome.Of(problems));

    private static IReadOnlyList<string>? FacilitiesOf(FhirQuestion asked) => asked.Caller.Facilities;

    /// <summary>Reads the parameters of a search.</summary>
    private sealed class Reader(AuditReading audit, FhirQuestion asked)
    {
        private AuditQuery query = new([], audit.settings.DefaultCount) { Facilities = FacilitiesOf(asked) };
        private readonly List<Func<AuditRow, bool>> conditions = [];
        private readonly List<OperationOutcome.IssueComponent> problems = [];
        private readonly List<OperationOutcome.IssueComponent> unfiltered = [];
        private string? summary;
        private string[] elements = [];

        public List<OperationOutcome.IssueComponent> PassedOver { get; } = [];
        public List<KeyValuePair<string, string>> Honoured { get; } = [];
        public string? Page { get; private set; }
        public bool WithTotal { get; private set; }
        public bool CountOnly { get; private set; }
        public Shape Shape => new(summary, elements);
        public string Order => query.OldestFirst ? OldestFirst : LatestFirst;

        public AuditQuery Query =>
            conditions.Count == 0 ? query : query with { Matches = row => conditions.TrueForAll(condition => condition(row)) };

        public void Take(string name, string value)
        {
            if (name is "_format" or "_pretty")
                return;
            if (value.Length == 0)
            {
                Ignore(name, "a parameter without a value", "a value", filters: true);
                return;
            }

            switch (name)
            {
                case SearchRequest.PageParameter:
                    Page = value;
                    return;
                case "_count":
                    TakeCount(name, value);
                    return;
                case "_sort":
                    TakeSort(name, value);
                    return;
                case "_total":
                    TakeTotal(name, value);
                    return;
                case "_summary":
                    TakeSummary(name, value);
                    return;
                case "_elements":
                    elements = value.Split(',', StringSplitOptions.TrimEntries | StringSplitOptions.RemoveEmptyEntries);
                    Honoured.Add(new(name, value));
                    return;
                case "_include" or "_include:iterate" or "_revinclude" or "_revinclude:iterate":
                    Ignore(name, $"'{value}'", "no inclusion: what an event names is searched by its own", filters: false);
                    return;
            }

            var before = problems.Count;
            if (TakeFilter(name, value))
            {
                if (problems.Count == before)
                    Honoured.Add(new(name, value));
                return;
            }

            var end = name.AsSpan().IndexOfAny(':', '.');
            var plain = end < 0 ? name : name[..end];
            if (Array.Exists(Parameters, parameter => parameter.Name == plain))
            {
                // Passing over a modifier would answer another question than the one asked.
                var expected = Array.Find(Parameters, parameter => parameter.Name == plain)!.Says ?? "none";
                Problem("search-modifier-unsupported", name, $"'{name[plain.Length..]}' on {plain}", expected);
                return;
            }

            Ignore(name, "an unknown parameter", Expected, filters: true);
        }

        /// <summary>What stands against the search; empty where nothing does.</summary>
        public IReadOnlyList<OperationOutcome.IssueComponent> Finish()
        {
            // A number beside a filter that was passed over would be a wrong number, and nobody looks at what it counted.
            if (CountOnly)
                problems.AddRange(unfiltered);
            if (summary is not null && elements.Length > 0)
                Problem("search-value-invalid", "_elements", $"_elements together with _summary={summary}", "one of the two");
            if (CountOnly)
                Honoured.Add(new("_summary", "count"));
            else
                Honoured.Add(new("_count", query.AtMost.ToString(CultureInfo.InvariantCulture)));
            WithTotal |= CountOnly;
            if (Page is { } mark)
                TakePage(mark);
            return problems;
        }

        // False where it is no parameter, or none with that modifier.
        private bool TakeFilter(string name, string value)
        {
            List<string> values = [.. SearchText.Split(value, ',').Where(text => text.Length > 0)];
            switch (name)
            {
                case "date":
                    TakeDate(name, value);
                    return true;
                case "patient.identifier" or "patient:identifier":
                    List<(string? System, string Value)> patients = [.. values.Select(Token)];
                    query = query with { Patients = query.Patients ?? patients };
                    conditions.Add(row => patients.Exists(patient => Is(patient, row.Entry.Patient)));
                    return true;
                case "agent.identifier" or "agent:identifier":
                    query = query with { Clients = Both(query.Clients, values.Select(text => Token(text).Value)) };
                    return true;
                case "patient":
                    TakeReference(values, row => row.Entry.Patient?.Reference);
                    return true;
                case "agent":
                    TakeReference(values, _ => null); // clients have identifiers, and no address
                    return true;
                case "entity":
                    TakeEntity(name, values);
                    return true;
                case "_id":
                    var known = values.Select(text =>
                        long.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out var number) ? number : -1
                    );
                    query = query with { Numbers = Both(query.Numbers, known) };
                    return true;
                case "type":
                    TakeDeeds(deed => values.Exists(text => IsCode(text, AuditEventMapper.TypeOf(deed))));
                    return true;
                case "action":
                    const string Actions = "http://hl7.org/fhir/audit-event-action";
                    TakeDeeds(deed => values.Exists(text => IsCode(text, new(Actions, $"{AuditEventMapper.ActionOf(deed)}"))));
                    return true;
                case "subtype":
                    conditions.Add(row =>
                    {
                        var subtypes = AuditEventMapper.SubtypesOf(row.Entry);
                        return subtypes.Any(coding => values.Exists(text => IsCode(text, coding)));
                    });
                    return true;
                case "outcome":
                    const string Outcomes = "http://hl7.org/fhir/audit-event-outcome";
                    conditions.Add(row => values.Exists(text => IsCode(text, new(Outcomes, $"{(int)row.Entry.Outcome}"))));
                    return true;
                default:
                    return false;
            }
        }

        private void TakeCount(string name, string value)
        {
            if (!int.TryParse(value, NumberStyles.None, CultureInfo.InvariantCulture, out var count))
                Problem("search-value-invalid", name, $"'{value}'", "a whole number, 0 or more");
            else if (count == 0)
                CountOnly = true;
            else
                query = query with { AtMost = Math.Min(count, audit.settings.MaxCount) };
        }

        private void TakeSort(string name, string value)
        {
            if (value is LatestFirst or OldestFirst)
            {
                query = query with { OldestFirst = value == OldestFirst };
                Honoured.Add(new(name, value));
            }
            else
            {
                Ignore(name, $"'{value}'", $"{OldestFirst} or {LatestFirst}", filters: false);
            }
        }

        private void TakeTotal(string name, string value)
        {
            if (value is "none" or "estimate" or "accurate")
            {
                WithTotal = value != "none";
                Honoured.Add(new(name, value));
            }
            else
            {
                Problem("search-value-invalid", name, $"'{value}'", "none, estimate or accurate");
            }
        }

        private void TakeSummary(string name, string value)
        {
            switch (value)
            {
                case "count":
                    CountOnly = true;
                    return;
                case "false" or "true" or "text" or "data":
                    summary = value == "false" ? null : value;
                    Honoured.Add(new(name, value));
                    return;
                default:
                    Problem("search-value-invalid", name, $"'{value}'", "true, text, data, count or false");
                    return;
            }
        }

        private void TakeDeeds(Func<Deed, bool> meant) =>
            query = query with { Deeds = Both(query.Deeds, Enum.GetValues<Deed>().Where(meant)) };

        private static IReadOnlyList<T> Both<T>(IReadOnlyList<T>? before, IEnumerable<T> too) =>
            [.. before is null ? too : before.Intersect(too)];

        private void TakeDate(string name, string value)
        {
            var (prefix, text) = PrefixText.Split(value);
            if (TimeRange.Parse(text, audit.kept.TimeZone) is not { } range)
            {
                Problem("search-value-invalid", name, $"'{value}'", "a date or a time such as 2026-03-02T08:00:00Z, with + written %2B");
                return;
            }

            TimeRange? within = prefix switch
            {
                Prefix.Eq => range,
                Prefix.Lt or Prefix.Eb => new(long.MinValue, range.From),
                Prefix.Le => new(long.MinValue, range.To),
                Prefix.Gt or Prefix.Sa => new(range.To, long.MaxValue),
                Prefix.Ge => new(range.From, long.MaxValue),
                _ => null,
            };
            if (within is { } known)
                query = query with { Recorded = [.. query.Recorded, known] };
            else
                Problem("search-value-invalid", name, $"'{value}'", "a prefix eq, lt, le, gt, ge, sa or eb");
        }

        private void TakeReference(IReadOnlyList<string> values, Func<AuditRow, string?> of) =>
            conditions.Add(row =>
                of(row) is { } told && values.Any(text => told == text || told.EndsWith($"/{text}", StringComparison.Ordinal))
            );

        // The id of a resource begins with that of its episode, which leads to the patient: an index serves that.
        private void TakeEntity(string name, IReadOnlyList<string> values)
        {
            if (values is not [var one] || one.Split('/') is not { Length: 1 or 2 } parts || parts.Contains(""))
            {
                Problem("search-value-invalid", name, $"'{string.Join(',', values)}'", "one resource, as Observation/[id]");
                return;
            }

            var id = parts[^1];
            if (id.Split('.') is [var episode, _, ..])
                query = query with { Episode = episode };
            conditions.Add(row =>
                (row.Entry.Resources ?? []).Any(address =>
                    address.Split('/') is [var type, var known, ..] && known == id && (parts.Length == 1 || parts[0] == type)
                )
            );
        }

        private void TakePage(string value)
        {
            if (
                PageMark.Read(Order, 1, value) is { Keys: [long recorded], Id: var id }
                && long.TryParse(id, NumberStyles.None, CultureInfo.InvariantCulture, out var number)
            )
                query = query with { After = (recorded, number) };
            else
                Problem(
                    "page-unknown",
                    SearchRequest.PageParameter,
                    "no position of this search",
                    "the next link of the page before, unchanged"
                );
        }

        private void Ignore(string name, string saw, string expected, bool filters)
        {
            if (asked.Strict)
                Problem("search-parameter-unknown", name, saw, expected);
            else if (filters)
                unfiltered.Add(Outcome.Problem("search-parameter-unknown", saw, $"{expected}: a count is not given without it", name));
            if (!asked.Strict)
                PassedOver.Add(Outcome.PassedOver(name, saw, expected));
        }

        private void Problem(string code, string name, string saw, string expected) =>
            problems.Add(Outcome.Problem(code, saw, expected, name));

        private static (string? System, string Value) Token(string text) =>
            SearchText.Split(text, '|') is [var system, var value]
                ? (SearchText.Unescape(system), SearchText.Unescape(value))
                : (null, SearchText.Unescape(text));

        private static bool Is((string? System, string Value) meant, AuditedPatient? patient) =>
            patient is not null && patient.Value == meant.Value && (meant.System is null || meant.System == (patient.System ?? ""));

        private static bool IsCode(string text, Coding coding)
        {
            var (system, code) = Token(text);
            return (code == coding.Code || (code == "" && system is not null)) && (system is null || system == (coding.System ?? ""));
        }
    }

    /// <summary>AuditEvents, with whose patients they name.</summary>
    private sealed class Answer(Resource told, IReadOnlyList<AuditRow> rows, string? id, Shape shape) : IFhirAnswer
    {
        public int StatusCode => StatusCodes.Status200OK;

        public IReadOnlyList<ShownVersion> Shown => id is null ? [] : [new(Type, id, 1)];

        public IReadOnlyList<AuditedPatient> Patients => [.. rows.Select(row => row.Entry.Patient).OfType<AuditedPatient>().Distinct()];

        public ReadOnlyMemory<byte> Json(Vocabulary vocabulary)
        {
            if (told is not Bundle bundle)
                return shape.IsWhole ? FhirJson.WriteUtf8(told) : Encoding.UTF8.GetBytes(Shaping.Part(told, shape).ToJsonString());
            foreach (var outcome in bundle.Entry.Select(entry => entry.Resource).OfType<OperationOutcome>())
                outcome.Under(vocabulary);
            if (shape.IsWhole)
                return FhirJson.WriteUtf8(bundle);
            var json = JsonNode.Parse(FhirJson.Write(bundle))!;
            foreach (var (entry, written) in bundle.Entry.Zip(json["entry"]?.AsArray() ?? []))
            {
                if (entry.Resource is AuditEvent one)
                    written!["resource"] = Shaping.Part(one, shape);
            }

            return Encoding.UTF8.GetBytes(json.ToJsonString());
        }

        public Task ExecuteAsync(HttpContext httpContext)
        {
            httpContext.Response.Headers.CacheControl = "no-store";
            return FhirReply.Write(httpContext, StatusCode, Json(FhirReply.Words(httpContext)));
        }
    }
}
