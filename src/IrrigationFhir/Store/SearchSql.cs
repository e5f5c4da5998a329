using Dapper;
using IrrigationFhir.Search;
using IrrigationFhir.Store.Sqlite;

namespace IrrigationFhir.Store;

/// <summary>Turns a <see cref="SearchQuery"/> into SQL. Values travel as parameters only.</summary>
/// <remarks>
/// What is asked for by words is looked up first (<see cref="SearchKeys"/>), so that the search itself compares numbers. SQLite has no
/// statistics here: which index serves is decided in this class, and a column that another index is kept of is written so that none can
/// serve it (<c>+r.codes</c>).
/// </remarks>
internal sealed class SearchSql
{
    /// <summary>More ways to one page than this are walked as one, and sorted.</summary>
    private const int MostWays = 16;

    // What is in such a status leaves it again, so that fewer are in it than have a code: the status leads.
    private static readonly string[] Passing = ["active", "preliminary", "registered", "in-progress"];

    // As in the index by status.
    private static readonly string[] OfMost = ["final", "amended", "inactive", "completed"];

    private const string NotOfMost = "r.status not in ('final', 'amended', 'inactive', 'completed')";

    // As in the index of what lasts.
    private const long Day = 86_400_000_000_000;
    private const string Lasts = "r.date_to - r.date_from > 86400000000000";

    private readonly DynamicParameters _values = new();
    private readonly List<string> _conditions = [];
    private readonly SearchQuery _query;
    private readonly SearchKeys _keys;

    // What leads to few resources, besides the type: the patient; ids, identifiers and references; the status; the code.
    private readonly bool _ofPatient;
    private readonly bool _findsFew;
    private readonly bool _byStatus;
    private readonly bool _byStoring;
    private readonly SearchCriterion? _leader;

    // Ways of which each leads to a part of the matches, in the order of the page; what one leads to no other does.
    private readonly IReadOnlyList<Way> _ways;
    private int _count;

    /// <summary>Builds the conditions of a query.</summary>
    public SearchSql(SearchQuery query, SearchKeys keys)
    {
        (_query, _keys) = (query, keys);
        _ofPatient = query.Criteria.Any(criterion => criterion is SearchCriterion.Subject subject && keys.Of(subject).Patients.Count <= 1);
        _findsFew = query.Criteria.Any(criterion =>
            criterion is SearchCriterion.Ids or SearchCriterion.References || IsIdentifier(criterion)
        );
        var byDate = query.Count == 0 || Keys is [{ Parameter: IndexedParameter.Date }] or [];
        IReadOnlyList<Way>? ways = null;
        if (_ofPatient)
        {
            ways = [new("1 = 1", byDate ? "resource_of_patient" : null)];
        }
        else if (!_findsFew)
        {
            var code = query.Criteria.FirstOrDefault(criterion => keys.CodesOf(criterion) is not null);
            var codes = code is null ? null : keys.CodesOf(code);
            var passes = query.Criteria.Any(criterion =>
                criterion is SearchCriterion.Statuses { Not: false, Codes: [var only] } && Passing.Contains(only)
            );
            if (passes && byDate)
                (_byStatus, ways) = (true, [new(NotOfMost, "resource_by_status")]);
            else if (Keys is [{ Parameter: IndexedParameter.LastUpdated }] || query.Criteria.Any(IsStoredLately))
                _byStoring = true;
            else if (codes is not null)
                (_leader, ways) = (code, WaysOf(codes, byDate));
            else if (byDate && query.Criteria.Any(criterion => Status(criterion) is { } status && !OfMost.Contains(status)))
                (_byStatus, ways) = (true, [new(NotOfMost, "resource_by_status")]);
            else if (byDate && query.Criteria.OfType<SearchCriterion.Dates>().Select(dates => dates.Tests).FirstOrDefault() is [var test])
                ways = EndingAfter(test);
        }

        _ways = ways ?? [new("1 = 1", null)];
        _conditions.Add($"{(_byStoring ? "s.type" : "r.type")} = {Value(query.Type.Number)}");
        if (_byStoring)
            _conditions.Add("r.patient = s.patient and r.number = s.number and r.last_updated = s.at");
        _conditions.AddRange(query.Criteria.Select(Condition).OfType<string>());
    }

    /// <summary>The values the SQL names.</summary>
    public DynamicParameters Values => _values;

    /// <summary>Counts all matches.</summary>
    public string Total()
    {
        var ways = _leader is null ? _ways : WaysOf(_keys.CodesOf(_leader)!, byDate: false);
        return ways is [var only]
            ? $"select count(*) from {From(only.Index)} where {string.Join(" and ", [only.Condition, .. _conditions])}"
            : $"select count(*) from {From(null)} where ({string.Join(" or ", ways.Select(way => way.Condition))})"
                + $" and {string.Join(" and ", _conditions)}";
    }

    /// <summary>
    /// One page, and one row more that tells whether there is a next: <see cref="StoredResource.Keys"/> and the order's keys.
    /// </summary>
    public string Page()
    {
        var keys = Keys.Select(Key).ToList();

        // Without statistics SQLite likes an index that is sorted already better than one that finds few rows. Where a condition
        // finds few rows and the index of the order would be another, the order is written so that no index can serve it.
        var plain = keys.Count <= 1 && !_findsFew && (!_ofPatient || Keys is [{ Parameter: IndexedParameter.Date }]);
        var sort = plain
            ? [.. keys, "r.id"]
            : keys.Select((key, i) => Keys[i].Parameter is IndexedParameter.Date or IndexedParameter.LastUpdated ? $"({key} + 0)" : key)
                .Append("(r.id || '')")
                .ToList();
        var descending = Descending;

        var conditions = _conditions.ToList();
        if (_query.After is { } after)
            conditions.Add(Beyond(sort, descending, [.. after.Keys, after.Id]));
        var shown = string.Concat(keys.Select((key, i) => $", {key} as Key{i}"));
        var limit = Value(_query.Count + 1);
        var all = _ways
            .Select(way =>
                $"""
                    select {StoredResource.Keys}{shown} from {From(way.Index)} where {string.Join(" and ", [way.Condition, .. conditions])}
                    order by {Ordered(sort)} limit {limit}
                    """
            )
            .ToList();
        return all is [var only]
            ? only
            : $"""
                select * from ({string.Join(") union all select * from (", all)})
                order by {Ordered([.. Keys.Select((_, i) => $"Key{i}"), "id"])} limit {limit}
                """;
    }

    /// <summary>What a page found: <see cref="StoredResource.Columns"/> and the order's keys.</summary>
    public string PageWithJson()
    {
        var keys = Keys.Select((_, i) => $"r.Key{i}").ToList();
        return $"""
            select {StoredResource.Columns}{string.Concat(keys.Select(key => $", {key}"))}
            from ({Page()}) r cross join resource_version v where {StoredResource.Version} order by {Ordered([.. keys, "r.id"])}
            """;
    }

    /// <summary>Of each match what tells it, the time it happened, and the number of its code.</summary>
    public string Codes() =>
        $"""
            select {StoredResource.Keys}, r.date_from as DateFrom, r.date_to as DateTo, r.codes as Codes
            from {From(null)} where {string.Join(" and ", [$"({string.Join(" or ", _ways.Select(way => way.Condition))})", .. _conditions])}
            """;

    private string From(string? index) =>
        _byStoring ? "resource_version s cross join resource r" : $"resource r{(index is null ? "" : Dialect.By(index))}";

    /// <summary>A way to matches.</summary>
    /// <param name="Condition">What it leads to.</param>
    /// <param name="Index">By which index; null leaves that to the engine.</param>
    private readonly record struct Way(string Condition, string? Index);

    private static IReadOnlyList<Way> WaysOf(IReadOnlyList<long> codes, bool byDate) =>
        codes.Count == 0 ? [new("1 = 0", null)]
        : byDate && codes.Count <= MostWays ? [.. codes.Select(number => new Way($"r.codes = {number}", "resource_by_code"))]
        : [new($"r.codes in ({string.Join(", ", codes)})", "resource_by_code")];

    private IReadOnlyList<SortKey> Keys => _query.Keys;

    private bool IdDescending =>
        _query.Order.FirstOrDefault(key => key.Parameter is IndexedParameter.Id)?.Descending ?? (Keys is [.., var last] && last.Descending);

    private List<bool> Descending => [.. Keys.Select(key => key.Descending), IdDescending];

    private string Ordered(IReadOnlyList<string> by) =>
        string.Join(", ", by.Zip(Descending, (expression, down) => down ? expression + " desc" : expression));

    private static bool IsIdentifier(SearchCriterion criterion) =>
        criterion is SearchCriterion.Coded { Not: false, Rows: [IndexedTypes.Identifier] };

    private static bool IsStoredLately(SearchCriterion criterion) =>
        criterion is SearchCriterion.LastUpdated { Tests: [{ Prefix: Prefix.Gt or Prefix.Ge or Prefix.Sa or Prefix.Eq }] };

    private static string? Status(SearchCriterion criterion) =>
        criterion is SearchCriterion.Statuses { Not: false, Codes: [var only] } ? only : null;

    /// <summary>
    /// Two ways to what ends after a time: what lasts, by its end; all else by its beginning, which lies less than a day before.
    /// </summary>
    private IReadOnlyList<Way>? EndingAfter(DateTest test)
    {
        if (test.Prefix is not (Prefix.Gt or Prefix.Ge or Prefix.Ap))
            return null;
        var end = test.Prefix == Prefix.Gt ? test.Range.To : test.Range.From;
        var begin = end < long.MinValue + Day ? long.MinValue : end - Day;
        return
        [
            new($"({Lasts} and r.date_to > {Value(end)})", "resource_lasting"),
            new($"(not ({Lasts}) and r.date_from > {Value(begin)})", "resource_by_date"),
        ];
    }

    private string Key(SortKey key) =>
        key.Parameter switch
        {
            IndexedParameter.Date => "r.date_from",
            IndexedParameter.LastUpdated => _byStoring ? "s.at" : "r.last_updated",
            IndexedParameter.Moment moment =>
                $"coalesce((select {Least("i.date_from", key)} from resource_time i where {Own} and i.parameter = '{moment.Name}'),"
                    + $" {Value(long.MaxValue)})",
            IndexedParameter.Status => OrLast("r.status"),
            IndexedParameter.Subject => OrLast(
                $"""
                (select {Least("case when i.value = '' then i.reference else i.value end", key)} from reference_set_member i
                where i.patient = r.patient and i.number = r.about and i.parameter = '{PatientPartition.Subject}')
                """
            ),
            IndexedParameter.Coded { Rows: [IndexedTypes.Identifier] } => OrLast(
                $"(select {Least("e.value ->> '$.value'", key)} from {Elements(IndexedTypes.Identifier)})"
            ),
            IndexedParameter.Coded coded => OrLast(LeastCode(coded.Rows, key)),
            IndexedParameter.Canonical canonical => OrLast(LeastCode([canonical.Name], key)),
            IndexedParameter.Text text => OrLast(LeastCode([text.Name], key)),
            IndexedParameter.Quantity quantity => OrLast(LeastAmount(quantity.Rows, key)),
            IndexedParameter.Reference reference => OrLast(LeastReference(reference, key)),
            _ => throw new InvalidOperationException($"{key.Parameter.Name} has no order."),
        };

    private string OrLast(string expression) => $"coalesce({expression}, {Value("\uffff")})";

    private static string Least(string expression, SortKey key) => $"{(key.Descending ? "max" : "min")}({expression})";

    private static string LeastCode(IReadOnlyList<string> rows, SortKey key) =>
        $"(select {Least("i.code", key)} from coding_set_member i where i.number in (r.codes, r.labels) and {Named(rows)})";

    private static string LeastAmount(IReadOnlyList<string> rows, SortKey key)
    {
        const string Amount = "coalesce(r.amount, r.measure)";
        var component = $"(select {Least("coalesce(i.amount, i.measure)", key)} from resource_component i where {Own})";
        return !rows.Contains(IndexedTypes.ComponentCode) ? Amount
            : rows is [_] ? component
            // The scalar function of several values is null where one is.
            : $"coalesce({(key.Descending ? "max" : "min")}({Amount}, {component}), {Amount}, {component})";
    }

    private static string LeastReference(IndexedParameter.Reference reference, SortKey key)
    {
        var member = Least("case when i.reference = '' then i.value else i.reference end", key);
        if (reference.Link == 0)
        {
            return $"(select {member} from reference_set_member i "
                + $"where i.patient = r.patient and i.number = r.about and i.parameter = '{reference.Name}')";
        }

        return $"(select {Least(PointedAt, key)} from {Elements(reference)})";
    }

    // What a resource points at itself is in its JSON alone: by that is ordered, and asked whether there is any, hardly ever.
    private const string PointedAt = """
        case when coalesce(e.value ->> '$.reference', '#') like '#%' then e.value ->> '$.identifier.value'
            else e.value ->> '$.reference' end
        """;

    private static string Elements(IndexedParameter.Reference reference) =>
        Elements(IndexedParameter.Reference.Links[reference.Link - 1].Element);

    private static string Elements(string list) => $"{Dialect.Elements(Json, list)} e";

    /// <summary>
    /// Past a position: a comparison of rows where all keys run the same way, because an index can serve it; else key by key.
    /// </summary>
    private string Beyond(List<string> sort, List<bool> descending, IReadOnlyList<object> position)
    {
        var values = position.Select(Value).ToList();
        if (descending.Distinct().Count() == 1)
        {
            var sign = descending[0] ? "<" : ">";
            return sort.Count == 1 ? $"{sort[0]} {sign} {values[0]}" : $"({string.Join(", ", sort)}) {sign} ({string.Join(", ", values)})";
        }

        return "("
            + string.Join(
                " or ",
                sort.Select(
                    (_, at) =>
                        "("
                        + string.Concat(Enumerable.Range(0, at).Select(i => $"{sort[i]} = {values[i]} and "))
                        + $"{sort[at]} {(descending[at] ? "<" : ">")} {values[at]})"
                )
            )
            + ")";
    }

    private string? Condition(SearchCriterion criterion) =>
        criterion switch
        {
            SearchCriterion.Ids ids => $"r.id in ({ListOf(ids.Values)})",
            SearchCriterion.Statuses { Codes.Count: 0 } none => none.Not ? "1 = 1" : "1 = 0",
            // Its index serves where nothing else does; elsewhere it is written so that no index can, for a status may be that of most.
            SearchCriterion.Statuses { Not: false, Codes: [var status] } when _byStatus && !OfMost.Contains(status) =>
                $"r.status = {Value(status)}",
            SearchCriterion.Statuses { Not: false } statuses => $"(r.status || '') in ({ListOf(statuses.Codes)})",
            SearchCriterion.Statuses statuses => $"(r.status is null or r.status not in ({ListOf(statuses.Codes)}))",
            SearchCriterion.Coded { Rows: [IndexedTypes.Identifier] } identifiers => (identifiers.Not ? "not " : "")
                + Among($"select i.patient, i.number from resource_identifier i where {Any(identifiers.Tests, Identifies)}"),
            // Its sets of codes are the ways; a value that goes with the code is compared in any case.
            SearchCriterion.Coded coded when ReferenceEquals(coded, _leader) => null,
            SearchCriterion.Coded coded => (coded.Not ? "not " : "") + Coded(coded.Rows, Any(coded.Tests, Token)),
            SearchCriterion.Texts texts => Any(
                texts.Beginnings,
                beginning => Any(texts.Paths, path => Dialect.HasWord(Json, path, Value(Dialect.WordBegins(beginning))))
            ),
            SearchCriterion.BeginsWith begins => Coded(
                [begins.Row],
                Any(
                    begins.Values,
                    value =>
                        begins.Exact
                            ? $"i.code = {Value(value)}"
                            : $"substr(lower(i.code), 1, {Value(value.Length)}) = lower({Value(value)})"
                )
            ),
            SearchCriterion.Quantities quantities => Either(
                quantities.Rows,
                Any(quantities.Tests, test => Quantity(test, "r")),
                () => $"exists (select 1 from resource_component i where {Own} and {Any(quantities.Tests, test => Quantity(test, "i"))})"
            ),
            SearchCriterion.Pairs pairs => Either(
                pairs.Rows,
                OwnPairs(pairs),
                () =>
                    $"""
                        exists (select 1 from resource_component i cross join coding_set_member c
                            where {Own} and c.number = r.labels and c.parameter = '{IndexedTypes.ComponentCode}' and c.part = i.part
                                and {Any(pairs.Tests, pair => Both(Token(pair.Code, "c"), Quantity(pair.Value, "i")))})
                        """
            ),
            SearchCriterion.Subject subject => About(_keys.Of(subject)),
            SearchCriterion.References references => Pointing(references),
            SearchCriterion.Dates dates => Any(dates.Tests, test => Date(test, DateFrom, DateTo)),
            SearchCriterion.Moments moments => $"exists (select 1 from resource_time i where {Own} and i.parameter = '{moments.Parameter}'"
                + $" and {Any(moments.Tests, test => Date(test, "i.date_from", "i.date_to"))})",
            SearchCriterion.WithinOrUndated within =>
                $"(r.date_to is null or ({DateFrom} < {Value(within.Range.To)} and {DateTo} > {Value(within.Range.From)}))",
            // Stored to the microsecond, so that is the width of its range.
            SearchCriterion.LastUpdated dates => Any(dates.Tests, Stored),
            SearchCriterion.Missing missing => (missing.IsMissing ? "not " : "") + Present(missing.Parameter),
            SearchCriterion.AnyOf any => Any(
                any.Alternatives,
                all => $"({string.Join(" and ", all.Select(Condition).OfType<string>().DefaultIfEmpty("1 = 1"))})"
            ),
            SearchCriterion.OfClient of => $"r.id in (select s.id from subscription s where s.client = {Value(of.Client)})",
            SearchCriterion.OfFacilities facilities => Any(facilities.Names, name => Within(PatientNumber.OfFacility(name))),
            _ => throw new InvalidOperationException($"{criterion.GetType().Name} has no SQL."),
        };

    /// <summary>The conditions alone, on <c>resource r</c>, for a statement that finds its rows another way.</summary>
    public string Conditions => string.Join(" and ", _conditions);

    // A facility is the first part of the patient's number.
    private string Within((long From, long To) patients) => $"r.patient between {Value(patients.From)} and {Value(patients.To)}";

    // The times of all patients lie in one index, which SQLite without statistics takes for a better way than the patient: where
    // something else finds few, they are written so that no index can serve them.
    private string DateFrom => _findsFew || _byStatus || _byStoring ? "(r.date_from + 0)" : "r.date_from";

    private const string DateTo = "(r.date_to + 0)";

    private static string Present(IndexedParameter parameter) =>
        parameter switch
        {
            IndexedParameter.Id or IndexedParameter.LastUpdated => "(1 = 1)",
            IndexedParameter.Date => "(r.date_to is not null)",
            IndexedParameter.Moment moment => $"exists (select 1 from resource_time i where {Own} and i.parameter = '{moment.Name}')",
            IndexedParameter.Status => "(r.status is not null)",
            IndexedParameter.Subject => HasReference(PatientPartition.Subject),
            IndexedParameter.Coded { Rows: [IndexedTypes.Identifier] } =>
                $"exists (select 1 from {Elements(IndexedTypes.Identifier)} where (e.value ->> '$.value') <> '')",
            IndexedParameter.Coded coded => Coded(coded.Rows, "1 = 1"),
            IndexedParameter.Canonical canonical => Coded([canonical.Name], "1 = 1"),
            IndexedParameter.Text text => Coded([text.Name], "1 = 1"),
            IndexedParameter.Quantity quantity => Either(
                quantity.Rows,
                "r.measure is not null",
                () => $"exists (select 1 from resource_component i where {Own})"
            ),
            IndexedParameter.Reference { Link: 0 } reference => HasReference(reference.Name),
            IndexedParameter.Reference reference => $"exists (select 1 from {Elements(reference)} where {PointedAt} is not null)",
            _ => throw new InvalidOperationException($"{parameter.GetType().Name} has no SQL."),
        };

    private static string HasReference(string parameter) =>
        "exists (select 1 from reference_set_member i"
        + $" where i.patient = r.patient and i.number = r.about and i.parameter = '{parameter}')";

    private const string Own = "i.patient = r.patient and i.number = r.number";

    // JSON of the current version.
    private const string Json = $"(select v.json from resource_version v where {StoredResource.Version})";

    // Names of rows are those of IndexedTypes, never the client's text.
    private static string Named(IReadOnlyList<string> rows) =>
        rows is [var single] ? $"i.parameter = '{single}'" : $"i.parameter in ({string.Join(", ", rows.Select(row => $"'{row}'"))})";

    private static string Among(string few) => $"(r.patient, r.number) in ({few})";

    /// <summary>A coding that meets a condition is in the sets of a resource.</summary>
    private static string Coded(IReadOnlyList<string> rows, string condition)
    {
        var columns = new List<string>();
        if (rows.Contains(IndexedTypes.OwnCode))
            columns.Add("+r.codes");
        if (rows.Any(row => row != IndexedTypes.OwnCode))
            columns.Add("r.labels");
        var sets = $"(select i.number from coding_set_member i where {Named(rows)} and {condition})";
        return $"({string.Join(" or ", columns.Select(column => $"{column} in {sets}"))})";
    }

    private static string Either(IReadOnlyList<string> rows, string own, Func<string> component) =>
        !rows.Contains(IndexedTypes.ComponentCode) ? own
        : rows is [_] ? component()
        : $"({own} or {component()})";

    private string OwnPairs(SearchCriterion.Pairs pairs) =>
        // Where the code leads and is but one, that it is this one is decided already.
        ReferenceEquals(pairs, _leader) && pairs.Tests.Select(pair => pair.Code).Distinct().Count() == 1
            ? Any(pairs.Tests, pair => Quantity(pair.Value, "r"))
            : $"exists (select 1 from coding_set_member c where c.number = r.codes and c.parameter = '{IndexedTypes.OwnCode}'"
                + $" and {Any(pairs.Tests, pair => Both(Token(pair.Code, "c"), Quantity(pair.Value, "r")))})";

    private string Token(TokenTest test) => Token(test, "i");

    private string Token(TokenTest test, string row) =>
        Both(
            test.Code is null ? null : $"{row}.code = {Value(test.Code)}",
            test.System is null ? null : $"{row}.system = {Value(test.System)}"
        );

    private string Identifies(TokenTest test) =>
        Both(
            test.Code is null ? null : $"i.value = {Value(test.Code)}",
            test.System is null
                ? null
                : $"i.system in (select c.number from coding_set_member c where c.parameter = '{IndexedTypes.Identifier}'"
                    + $" and c.code = '' and c.system = {Value(test.System)})"
        );

    private string Quantity(QuantityTest test, string row) =>
        test switch
        {
            QuantityTest.AnyUnit => $"({row}.measure is not null and {Within($"{row}.measure", test.Range)})",
            QuantityTest.InUnit unit =>
                $"({row}.unit = {Value(unit.Unit)} and {Within($"coalesce({row}.amount, {row}.measure)", test.Range)})",
            QuantityTest.InUnitNamed named => $"(substr({row}.unit, 1, {Value(named.Name.Length + 1)}) = {Value(named.Name + "|")}"
                + $" and {Within($"{row}.measure", test.Range)})",
            _ => throw new InvalidOperationException($"{test.GetType().Name} has no SQL."),
        };

    private string Within(string column, NumberRange range)
    {
        var inside = Both(
            range.From is { } from ? $"{column} {(range.WithFrom ? ">=" : ">")} {Value(from)}" : null,
            range.To is { } to ? $"{column} {(range.WithTo ? "<=" : "<")} {Value(to)}" : null
        );
        return range.Outside ? $"not ({inside})" : inside;
    }

    private string About(SearchKeys.Subjects subjects) =>
        subjects.Patients switch
        {
            [] => "1 = 0",
            [var (patient, sets)] => $"r.patient = {patient} and r.about in ({string.Join(", ", sets)})",
            _ => "(r.patient, r.about) in (select m.patient, m.number from reference_set_member m"
                + $" where m.parameter = '{PatientPartition.Subject}' and {Any(subjects.Tests, test => Matches(test, "m"))})",
        };

    /// <summary>Whatever points at a target: at a resource here by its number, at anything else by what is said of it.</summary>
    private string Pointing(SearchCriterion.References references)
    {
        var parameter = (IndexedParameter.Reference)_query.Type.Find(references.Parameter)!;
        var sets =
            "select m.patient, m.number from reference_set_member m"
            + $" where m.parameter = '{parameter.Name}' and {Any(references.Tests, test => Matches(test, "m"))}";
        if (parameter.Link == 0)
            return $"(r.patient, r.about) in ({sets})";
        // By type, and all of a type at once: databases bound how many queries one may be made of.
        var links = $"cross join resource_link l where l.patient = t.patient and l.parameter = {parameter.Link}";
        var found = new List<string> { $"select l.patient, l.number from ({sets}) t {links} and l.target = -t.number" };
        found.AddRange(
            from test in references.Tests.OfType<ReferenceTest.Target>()
            let address = test.Reference.Split('/')
            where address.Length == 2 && IndexedTypes.Find(address[0]) is not null
            group address[1] by IndexedTypes.NumberOf(address[0]) into ids
            select $"select l.patient, l.number from resource t {links} and l.target = t.number"
                + $" and t.type = {ids.Key} and t.id in ({ListOf([.. ids])})"
        );
        return Among(string.Join(" union all ", found));
    }

    private string Matches(ReferenceTest test, string row) => Matches(test, row, Value);

    /// <summary>A member of a set of references is the one that is looked for.</summary>
    internal static string Matches(ReferenceTest test, string row, Func<object, string> value) =>
        test switch
        {
            ReferenceTest.Target target => $"({row}.reference <> '' and {row}.reference = {value(target.Reference)})",
            ReferenceTest.Identifier identifier => $"({row}.value <> '' and "
                + Both(
                    identifier.Token.Code is { } code ? $"{row}.value = {value(code)}" : null,
                    identifier.Token.System is { } system ? $"{row}.system = {value(system)}" : null
                )
                + ")",
            _ => throw new InvalidOperationException($"{test.GetType().Name} has no SQL."),
        };

    private string Stored(DateTest test)
    {
        const long Width = 1000;
        var column = _byStoring ? "s.at" : "r.last_updated";
        // Its end is its beginning and a microsecond: compared with a beginning, so that an index of that serves.
        return Date(new(test.Prefix, test.Range), column, column, Width);
    }

    private string Date(DateTest test, string from, string to, long width = 0)
    {
        // Where a comparison allows it, one bound stands alone so that an index can serve it. Without a date, "to" is null
        // and no comparison holds; "from" is then the greatest integer, hence the second half of sa.
        var (start, end) = (Value(test.Range.From), Value(test.Range.To));
        var (toStart, toEnd) = width == 0 ? (start, end) : (Value(Earlier(test.Range.From)), Value(Earlier(test.Range.To)));
        return test.Prefix switch
        {
            Prefix.Eq => $"({from} >= {start} and {from} < {end} and {to} <= {toEnd})",
            Prefix.Ne => $"not ({from} >= {start} and {to} <= {toEnd})",
            Prefix.Lt => $"{from} < {start}",
            Prefix.Le => $"({from} < {end} and ({from} < {start} or {to} <= {toEnd}))",
            Prefix.Gt => $"{to} > {toEnd}",
            Prefix.Ge => $"({to} > {toStart} and ({to} > {toEnd} or {from} >= {start}))",
            Prefix.Sa => $"({from} >= {end} and {to} is not null)",
            Prefix.Eb => $"{to} <= {toStart}",
            Prefix.Ap => $"({from} < {end} and {to} > {toStart})",
        };

        long Earlier(long time) => time < long.MinValue + width ? long.MinValue : time - width;
    }

    // Halved again and again, because databases bound how deep an expression may nest and read a row of "or" as one inside another.
    private static string Any<T>(IReadOnlyList<T> tests, Func<T, string> condition)
    {
        return tests.Count == 0 ? "(1 = 0)" : Of(0, tests.Count);

        string Of(int from, int to) =>
            to - from == 1 ? $"({condition(tests[from])})" : $"({Of(from, (from + to) / 2)} or {Of((from + to) / 2, to)})";
    }

    private static string Both(string? left, string? right) =>
        (left, right) switch
        {
            (null, null) => "1 = 1",
            (null, _) => right,
            (_, null) => left,
            _ => $"({left} and {right})",
        };

    private string ListOf(IReadOnlyList<string> values) => string.Join(", ", values.Select(Value));

    private string Value(object value)
    {
        var name = $"v{_count++}";
        _values.Add(name, value);
        return "@" + name;
    }
}
