using System.Globalization;
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
internal sealed class AuditReading(AuditStore store, FhirSettings settings, StoreSettings kept)
{
    private readonly FhirSettings settings = settings;
    private readonly StoreSettings kept = kept;

    private const string Type = "AuditEvent";
    private const string PageOrder = "audit";

    /// <summary>What the CapabilityStatement says of it.</summary>
    public const string Policy =
        "By the patterns of IHE BALP; for clients that are registered for it alone. Read and searched: an event is written with what it "
        + "tells of, and neither created, changed nor deleted by anybody. The latest comes first. A page may end early where little "
        + "matches; it is followed by its next link all the same.";

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

    private static string Expected => string.Join(", ", Parameters.Select(parameter => parameter.Name)) + ", _count";

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

    private async Task<IFhirAnswer> Read(FhirQuestion asked) =>
        long.TryParse(asked.Id, NumberStyles.None, CultureInfo.InvariantCulture, out var number)
        && await store.Find(number, FacilitiesOf(asked), asked.Stop) is { } row
            ? new Answer(AuditEventMapper.ToEvent(row), [row], asked.Id)
            : FhirReading.NotFound($"{Type}/{asked.Id}");

    private async Task<IFhirAnswer> Search(FhirQuestion asked)
    {
        var reader = new Reader(this, asked);
        foreach (var (name, value) in asked.Parameters)
            reader.Take(name, value);
        if (reader.Problems.Count > 0)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(reader.Problems));

        var page = await store.Search(reader.Query, asked.Stop);
        var at = asked.Base;
        string Address(string? mark) =>
            $"{at}/{Type}{new QueryBuilder(mark is null ? reader.Honoured : reader.Honoured.Append(new(SearchRequest.PageParameter, mark)))}";
        var next = page.Next is { } last
            ? Address(PageMark.Write(PageOrder, new([last.Recorded], last.Number.ToString(CultureInfo.InvariantCulture))))
            : null;
        var bundle = new Bundle
        {
            Type = Bundle.BundleType.Searchset,
            Link =
            [
                new() { Relation = "self", Url = Address(reader.Page) },
                .. next is null ? Array.Empty<Bundle.LinkComponent>() : [new() { Relation = "next", Url = next }],
            ],
            Entry =
            [
                .. page
                    .Rows.Select(AuditEventMapper.ToEvent)
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

        return new Answer(bundle, page.Rows, null);
    }

    private static IReadOnlyList<string>? FacilitiesOf(FhirQuestion asked) => asked.Caller.Facilities;

    /// <summary>Reads the parameters of a search.</summary>
    private sealed class Reader(AuditReading audit, FhirQuestion asked)
    {
        private AuditQuery query = new([], audit.settings.DefaultCount) { Facilities = FacilitiesOf(asked) };
        private readonly List<Func<AuditRow, AuditEvent, bool>> conditions = [];

        public List<OperationOutcome.IssueComponent> Problems { get; } = [];
        public List<OperationOutcome.IssueComponent> PassedOver { get; } = [];
        public List<KeyValuePair<string, string>> Honoured { get; } = [];
        public string? Page { get; private set; }

        public AuditQuery Query =>
            conditions.Count == 0
                ? query
                : query with
                {
                    Matches = row =>
                    {
                        var told = AuditEventMapper.ToEvent(row);
                        return conditions.TrueForAll(condition => condition(row, told));
                    },
                };

        public void Take(string name, string value)
        {
            if (name is "_format" or "_pretty")
                return;
            if (name == SearchRequest.PageParameter)
            {
                TakePage(value);
                return;
            }

            var isKnown = value.Length > 0 && TakeKnown(name, value);
            if (isKnown)
            {
                Honoured.Add(new(name, value));
                return;
            }

            if (Problems.Exists(problem => problem.Expression.Contains(name)))
                return;
            const string Saw = "an unknown parameter, or one without a value";
            if (asked.Strict || name.Contains(':', StringComparison.Ordinal))
                Problems.Add(Outcome.Problem("search-parameter-unknown", Saw, Expected, name));
            else
                PassedOver.Add(Outcome.PassedOver(name, Saw, Expected));
        }

        private bool TakeKnown(string name, string value)
        {
            var values = value.Split(',', StringSplitOptions.RemoveEmptyEntries);
            switch (name)
            {
                case "_count":
                    return TakeCount(name, value);
                case "date":
                    return TakeDate(name, value);
                case "patient.identifier" or "patient:identifier":
                    List<(string? System, string Value)> patients = [.. values.Select(Identifier)];
                    query = query with { Patients = query.Patients ?? patients };
                    conditions.Add((row, _) => patients.Exists(patient => Is(patient, row.Entry.Patient)));
                    return true;
                case "agent.identifier" or "agent:identifier":
                    List<string> clients = [.. values.Select(text => Identifier(text).Value)];
                    query = query with { Clients = query.Clients ?? clients };
                    conditions.Add((row, _) => clients.Contains(row.Entry.Client));
                    return true;
                case "entity":
                    return TakeEntity(name, values);
                case "_id":
                    conditions.Add((row, _) => values.Contains(row.Number.ToString(CultureInfo.InvariantCulture)));
                    return true;
                case "type":
                    conditions.Add((_, told) => values.Any(text => IsCode(text, told.Type)));
                    return true;
                case "subtype":
                    conditions.Add((_, told) => values.Any(text => told.Subtype.Exists(coding => IsCode(text, coding))));
                    return true;
                case "action":
                    conditions.Add((_, told) => values.Any(text => text.Split('|')[^1] == told.Action.ToString()));
                    return true;
                case "outcome":
                    conditions.Add((row, _) => values.Any(text => text.Split('|')[^1] == $"{(int)row.Entry.Outcome}"));
                    return true;
                default:
                    return false;
            }
        }

        private bool TakeCount(string name, string value)
        {
            if (int.TryParse(value, NumberStyles.None, CultureInfo.InvariantCulture, out var count) && count > 0)
            {
                query = query with { AtMost = Math.Min(count, audit.settings.MaxCount) };
                return true;
            }

            return Invalid(name, value, "a whole number, 1 or more");
        }

        private bool TakeDate(string name, string value)
        {
            var (prefix, text) = PrefixText.Split(value);
            if (TimeRange.Parse(text, audit.kept.TimeZone) is not { } range)
                return Invalid(name, value, "a date or a time such as 2026-03-02T08:00:00Z, with + written %2B");
            TimeRange? within = prefix switch
            {
                Prefix.Eq => range,
                Prefix.Lt => new(long.MinValue, range.From),
                Prefix.Le => new(long.MinValue, range.To),
                Prefix.Gt => new(range.To, long.MaxValue),
                Prefix.Ge => new(range.From, long.MaxValue),
                _ => null,
            };
            if (within is not { } known)
                return Invalid(name, value, "a prefix eq, lt, le, gt or ge");
            query = query with { Recorded = [.. query.Recorded, known] };
            return true;
        }

        // The id of a resource begins with that of its episode, which leads to the patient: an index serves that.
        private bool TakeEntity(string name, string[] values)
        {
            if (values is not [var one] || one.Split('/') is not [{ Length: > 0 }, { Length: > 0 } id])
                return Invalid(name, string.Join(',', values), "one resource, as Observation/[id]");
            if (id.Split('.') is [var episode, _, ..])
                query = query with { Episode = episode };
            conditions.Add(
                (row, _) =>
                    (row.Entry.Resources ?? []).Any(address =>
                        address.StartsWith(one, StringComparison.Ordinal) && (address.Length == one.Length || address[one.Length] == '/')
                    )
            );
            return true;
        }

        private void TakePage(string value)
        {
            if (
                PageMark.Read(PageOrder, 1, value) is { Keys: [long recorded], Id: var id }
                && long.TryParse(id, NumberStyles.None, CultureInfo.InvariantCulture, out var number)
            )
                (query, Page) = (query with { After = (recorded, number) }, value);
            else
                Invalid(SearchRequest.PageParameter, value, "the next link of the page before, unchanged");
        }

        private bool Invalid(string name, string saw, string expected)
        {
            Problems.Add(Outcome.Problem("search-value-invalid", $"'{saw}'", expected, name));
            return false;
        }

        private static (string? System, string Value) Identifier(string text) =>
            text.IndexOf('|', StringComparison.Ordinal) is var bar and >= 0 ? (text[..bar], text[(bar + 1)..]) : (null, text);

        private static bool Is((string? System, string Value) meant, AuditedPatient? patient) =>
            patient is not null && patient.Value == meant.Value && (meant.System is null || meant.System == (patient.System ?? ""));

        private static bool IsCode(string text, Coding coding)
        {
            var (system, code) = Identifier(text);
            return code == coding.Code && (system is null || system == coding.System);
        }
    }

    /// <summary>AuditEvents, with whose patients they name.</summary>
    private sealed class Answer(Resource told, IReadOnlyList<AuditRow> rows, string? id) : IFhirAnswer
    {
        public int StatusCode => StatusCodes.Status200OK;

        public IReadOnlyList<ShownVersion> Shown => id is null ? [] : [new(Type, id, 1)];

        public IReadOnlyList<AuditedPatient> Patients => [.. rows.Select(row => row.Entry.Patient).OfType<AuditedPatient>().Distinct()];

        public ReadOnlyMemory<byte> Json(Vocabulary vocabulary)
        {
            foreach (var outcome in (told as Bundle)?.Entry.Select(entry => entry.Resource).OfType<OperationOutcome>() ?? [])
                outcome.Under(vocabulary);
            return FhirJson.WriteUtf8(told);
        }

        public Task ExecuteAsync(HttpContext httpContext)
        {
            httpContext.Response.Headers.CacheControl = "no-store";
            return FhirReply.Write(httpContext, StatusCode, Json(FhirReply.Words(httpContext)));
        }
    }
}
