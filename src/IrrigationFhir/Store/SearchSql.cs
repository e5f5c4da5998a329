using Dapper;
using IrrigationFhir.Search;
using IrrigationFhir.Store.Sqlite;

namespace IrrigationFhir.Store;

/// <summary>Turns a <see cref="SearchQuery"/> into SQL. Values travel as parameters only.</summary>
internal sealed class SearchSql
{
    // What is in such a status leaves it again, so that fewer are in it than have a code: the status leads.
    private static readonly string[] Passing = ["active", "preliminary", "registered", "in-progress"];

    // Of the rows of one code, the one of its first system.
    private const string FirstSystemOfCode = """
        not exists (select 1 from resource_token d
            where d.patient_key = k.patient_key and d.type = k.type and d.id = k.id
                and d.parameter = 'code' and d.part = 0 and d.code = k.code and d.system < k.system)
        """;

    private readonly DynamicParameters _values = new();
    private readonly List<string> _conditions = [];
    private readonly SearchQuery _query;

    // Where the code (perhaps with a value) is the only thing that finds few resources, its index rows lead, because they lie in the order
    // of the date.
    private readonly TokenTest? _leading;
    private readonly SearchCriterion? _leader;
    private readonly bool _byStatus;
    private readonly bool _findsFew;
    private readonly bool _ofPatient;
    private int _count;

    /// <summary>Builds the conditions of a query.</summary>
    public SearchSql(SearchQuery query)
    {
        _query = query;
        _ofPatient = query.Criteria.Any(criterion => criterion is SearchCriterion.Subject);
        _findsFew = query.Criteria.Any(criterion =>
            criterion is SearchCriterion.Ids or SearchCriterion.References || IsIdentifier(criterion)
        );
        if (!_ofPatient && !_findsFew)
        {
            var code = query
                .Criteria.OfType<SearchCriterion.Coded>()
                .FirstOrDefault(coded => coded is { Not: false, Rows: ["code"] } && coded.Tests.All(test => test.Code is not null));
            var pair = query
                .Criteria.OfType<SearchCriterion.Pairs>()
                .FirstOrDefault(pairs =>
                    pairs.Rows is ["code"]
                    && pairs.Tests.Select(test => test.Code).Distinct().Count() == 1
                    && pairs.Tests[0].Code.Code is not null
                );
            var byDate = query.Count == 0 || Keys is [{ Parameter: IndexedParameter.Date }] or [];
            var passes = query.Criteria.Any(criterion =>
                criterion is SearchCriterion.Statuses { Not: false, Codes: [var only] } && Passing.Contains(only)
            );
            if (passes && byDate && code is not { Tests.Count: > 1 })
                _byStatus = true;
            else if (code is { Tests.Count: 1 } && byDate)
                (_leader, _leading) = (code, code.Tests[0]);
            else if (code is { Tests.Count: > 1 })
                _findsFew = true;
            else if (code is null && pair is not null && byDate)
                (_leader, _leading) = (pair, pair.Tests[0].Code);
            else
                _byStatus = code is null && byDate;
        }

        _conditions.Add($"r.type = {Value(query.Type.Name)}");
        if (_leading is { } test)
        {
            _conditions.Add($"k.type = {Value(query.Type.Name)} and k.parameter = 'code' and k.code = {Value(test.Code!)}");
            _conditions.Add("r.patient_key = k.patient_key and r.type = k.type and r.id = k.id");
            // The same code under two systems is still one resource.
            _conditions.Add(test.System is { } system ? $"k.system = {Value(system)}" : FirstSystemOfCode);
        }

        // The value stands beside the code, in the row that leads.
        if (_leader is SearchCriterion.Pairs valued)
            _conditions.Add(Any(valued.Tests, one => Quantity(one.Value, "k")));
        _conditions.AddRange(query.Criteria.Where(criterion => !ReferenceEquals(criterion, _leader)).Select(Condition));
    }

    /// <summary>The values the SQL names.</summary>
    public DynamicParameters Values => _values;

    /// <summary>Counts all matches.</summary>
    public string Total() => $"select count(*) from {From} where {string.Join(" and ", _conditions)}";

    /// <summary>One page, and one row more that tells whether there is a next.</summary>
    public string Page()
    {
        var keys = Keys.Select(Key).ToList();
        var directions = Keys.Select(key => key.Descending).ToList();
        var id = _leading is null ? "r.id" : "k.id";

        // Without statistics SQLite likes an index that is sorted already better than one that finds few rows. Where a condition
        // finds few rows and the index of the order would be another, the order is written so that no index can serve it.
        var plain = keys.Count <= 1 && !_findsFew && (!_ofPatient || Keys is [{ Parameter: IndexedParameter.Date }]);
        var sort = plain
            ? [.. keys, id]
            : keys.Select((key, i) => Keys[i].Parameter is IndexedParameter.Date or IndexedParameter.LastUpdated ? $"({key} + 0)" : key)
                .Append($"({id} || '')")
                .ToList();
        var descending = directions.Append(IdDescending).ToList();

        var conditions = _conditions.ToList();
        if (_query.After is { } after)
            conditions.Add(Beyond(sort, descending, [.. after.Keys, after.Id]));
        var order = string.Join(", ", sort.Zip(descending, (expression, down) => down ? expression + " desc" : expression));
        var shown = string.Concat(keys.Select((key, i) => $", {key} as Key{i}"));
        return $"""
            select {Columns}{shown}
            from {From} where {string.Join(" and ", conditions)} order by {order} limit {Value(_query.Count + 1)}
            """;
    }

    /// <summary>Of each match the id, the time it happened, and each coding of its code.</summary>
    /// <remarks>
    /// Ordered so that no index serves the order, or SQLite walks over all ids of the type rather than sort those of a patient.
    /// </remarks>
    public string Codes() =>
        $"""
            select r.id as Id, r.date_from as DateFrom, r.date_to as DateTo, c.system as System, c.code as Code
            from {From} left join resource_token c
                on c.patient_key = r.patient_key and c.type = r.type and c.id = r.id
                and c.parameter = 'code' and c.date_from = r.date_from
            where {string.Join(" and ", _conditions)} order by (r.id || ''), c.system, c.code
            """;

    /// <summary>The columns of a stored resource.</summary>
    public const string Columns = "r.type as Type, r.id as Id, r.version_id as VersionId, r.last_updated as LastUpdated, r.json as Json";

    private string From => _leading is null ? "resource r" : "resource_token k cross join resource r";

    private IReadOnlyList<SortKey> Keys => _query.Keys;

    private bool IdDescending =>
        _query.Order.FirstOrDefault(key => key.Parameter is IndexedParameter.Id)?.Descending ?? (Keys is [.., var last] && last.Descending);

    private static bool IsIdentifier(SearchCriterion criterion) => criterion is SearchCriterion.Coded { Not: false, Rows: ["identifier"] };

    private string Key(SortKey key) =>
        key.Parameter switch
        {
            IndexedParameter.Date when _leading is not null => "k.date_from",
            IndexedParameter.Date => "r.date_from",
            IndexedParameter.LastUpdated => "r.last_updated",
            IndexedParameter.Moment moment =>
                $"coalesce({Least("resource_date", [moment.Name], "i.date_from", key.Descending)}, {Value(long.MaxValue)})",
            IndexedParameter.Status => OrLast("r.status"),
            IndexedParameter.Subject => OrLast("coalesce(r.subject_value, r.subject_reference)"),
            IndexedParameter.Coded coded => OrLast(Least("resource_token", coded.Rows, "i.code", key.Descending)),
            IndexedParameter.Canonical canonical => OrLast(Least("resource_token", [canonical.Name], "i.code", key.Descending)),
            IndexedParameter.Text text => OrLast(Least("resource_token", [text.Name], "i.code", key.Descending)),
            IndexedParameter.Quantity quantity => OrLast(
                Least("resource_token", quantity.Rows, "coalesce(i.amount, i.number)", key.Descending)
            ),
            IndexedParameter.Reference reference => OrLast(
                Least(
                    "resource_reference",
                    [reference.Name],
                    "case when i.reference = '' then i.value else i.reference end",
                    key.Descending
                )
            ),
            _ => throw new InvalidOperationException($"{key.Parameter.Name} has no order."),
        };

    private string OrLast(string expression) => $"coalesce({expression}, {Value("\uffff")})";

    private static string Least(string table, IReadOnlyList<string> rows, string column, bool descending) =>
        $"(select {(descending ? "max" : "min")}({column}) from {table} i where {Own} and {Named(rows)})";

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

    private string Condition(SearchCriterion criterion) =>
        criterion switch
        {
            SearchCriterion.Ids ids => $"r.id in ({ListOf(ids.Values)})",
            SearchCriterion.Statuses { Codes.Count: 0 } none => none.Not ? "1 = 1" : "1 = 0",
            // Its index serves where nothing else does; elsewhere it is written so that no index can, for a status may be that of most.
            SearchCriterion.Statuses { Not: false } statuses =>
                $"{(_byStatus && statuses.Codes.Count == 1 ? "r.status" : "(r.status || '')")} in ({ListOf(statuses.Codes)})",
            SearchCriterion.Statuses statuses => $"(r.status is null or r.status not in ({ListOf(statuses.Codes)}))",
            // A code is shared by many resources, an identifier or a target by few: the first is looked up from the resource,
            // the others lead to it. So does a choice of codes where nothing else finds few.
            SearchCriterion.Coded identifier when IsIdentifier(identifier) => Among(
                "resource_token",
                "identifier",
                Any(identifier.Tests, Token)
            ),
            SearchCriterion.Coded { Not: false, Rows: ["code"], Tests.Count: > 1 } codes
                when !_ofPatient && codes.Tests.All(test => test.Code is not null) => Among(
                "resource_token",
                "code",
                $"i.code in ({ListOf([.. codes.Tests.Select(test => test.Code!)])}) and {Any(codes.Tests, Token)}"
            ),
            // Its rows carry the date, and lie in its order among those of the patient.
            SearchCriterion.Coded { Rows: ["code"] } coded => (coded.Not ? "not " : "")
                + Exists("resource_token", coded.Rows, $"i.date_from = r.date_from and {Any(coded.Tests, Token)}"),
            SearchCriterion.Coded coded => (coded.Not ? "not " : "") + Exists("resource_token", coded.Rows, Any(coded.Tests, Token)),
            SearchCriterion.Texts texts => Any(
                texts.Beginnings,
                beginning => Any(texts.Paths, path => Dialect.HasWord("r.json", path, Value(Dialect.WordBegins(beginning))))
            ),
            SearchCriterion.BeginsWith begins => Exists(
                "resource_token",
                [begins.Row],
                Any(
                    begins.Values,
                    value =>
                        begins.Exact
                            ? $"i.code = {Value(value)}"
                            : $"substr(lower(i.code), 1, {Value(value.Length)}) = lower({Value(value)})"
                )
            ),
            SearchCriterion.Quantities quantities => Exists(
                "resource_token",
                quantities.Rows,
                Any(quantities.Tests, test => Quantity(test, "i"))
            ),
            SearchCriterion.Pairs pairs => Exists(
                "resource_token",
                pairs.Rows,
                (pairs.Rows is ["code"] ? "i.date_from = r.date_from and " : "")
                    + Any(pairs.Tests, pair => $"({Token(pair.Code)} and {Quantity(pair.Value, "i")})")
            ),
            SearchCriterion.Subject subject => Any(subject.Tests, SubjectMatches),
            SearchCriterion.References references => Among(
                "resource_reference",
                references.Parameter,
                Any(references.Tests, ReferenceMatches)
            ),
            SearchCriterion.Dates dates => Any(dates.Tests, test => Date(test, DateFrom, DateTo)),
            SearchCriterion.Moments moments => Exists(
                "resource_date",
                [moments.Parameter],
                Any(moments.Tests, test => Date(test, "i.date_from", "i.date_to"))
            ),
            SearchCriterion.WithinOrUndated within =>
                $"(r.date_to is null or (r.date_from < {Value(within.Range.To)} and r.date_to > {Value(within.Range.From)}))",
            // Stored to the microsecond, so that is the width of its range.
            SearchCriterion.LastUpdated dates => Any(dates.Tests, test => Date(test, "r.last_updated", "(r.last_updated + 1000)")),
            SearchCriterion.Missing missing => (missing.IsMissing ? "not " : "") + Present(missing.Parameter),
            _ => throw new InvalidOperationException($"{criterion.GetType().Name} has no SQL."),
        };

    // The times of all patients lie in one index, which SQLite without statistics takes for a better way than the patient: where
    // something else finds few, they are written so that no index can serve them.
    private string DateFrom =>
        _leading is not null ? "k.date_from"
        : _ofPatient || _findsFew || _byStatus ? "(r.date_from + 0)"
        : "r.date_from";

    private string DateTo => _leading is not null || _ofPatient || _findsFew || _byStatus ? "(r.date_to + 0)" : "r.date_to";

    private static string Present(IndexedParameter parameter) =>
        parameter switch
        {
            IndexedParameter.Id or IndexedParameter.LastUpdated => "(1 = 1)",
            IndexedParameter.Date => "(r.date_to is not null)",
            IndexedParameter.Moment moment => Exists("resource_date", [moment.Name], "1 = 1"),
            IndexedParameter.Status => "(r.status is not null)",
            IndexedParameter.Subject => "(r.subject_reference is not null or r.subject_value is not null)",
            IndexedParameter.Coded coded => Exists("resource_token", coded.Rows, "1 = 1"),
            IndexedParameter.Canonical canonical => Exists("resource_token", [canonical.Name], "1 = 1"),
            IndexedParameter.Text text => Exists("resource_token", [text.Name], "1 = 1"),
            IndexedParameter.Quantity quantity => Exists("resource_token", quantity.Rows, "i.number is not null"),
            IndexedParameter.Reference reference => Exists("resource_reference", [reference.Name], "1 = 1"),
            _ => throw new InvalidOperationException($"{parameter.GetType().Name} has no SQL."),
        };

    private const string Own = "i.patient_key = r.patient_key and i.type = r.type and i.id = r.id";

    // Names of rows are those of IndexedTypes, never the client's text; as literals they let a partial index serve.
    private static string Named(IReadOnlyList<string> rows) =>
        rows is [var single] ? $"i.parameter = '{single}'" : $"i.parameter in ({string.Join(", ", rows.Select(row => $"'{row}'"))})";

    private static string Exists(string table, IReadOnlyList<string> rows, string condition) =>
        $"exists (select 1 from {table} i where {Own} and {Named(rows)} and {condition})";

    private string Among(string table, string parameter, string condition) =>
        $"r.id in (select i.id from {table} i where i.type = {Value(_query.Type.Name)} and i.parameter = '{parameter}' and {condition})";

    private string Token(TokenTest test) =>
        Both(test.Code is null ? null : $"i.code = {Value(test.Code)}", test.System is null ? null : $"i.system = {Value(test.System)}");

    private string Quantity(QuantityTest test, string row) =>
        test switch
        {
            QuantityTest.AnyUnit => $"({row}.number is not null and {Within($"{row}.number", test.Range)})",
            QuantityTest.InUnit unit =>
                $"({row}.unit = {Value(unit.Unit)} and {Within($"coalesce({row}.amount, {row}.number)", test.Range)})",
            QuantityTest.InUnitNamed named => $"(substr({row}.unit, 1, {Value(named.Name.Length + 1)}) = {Value(named.Name + "|")}"
                + $" and {Within($"{row}.number", test.Range)})",
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

    private string ReferenceMatches(ReferenceTest test) =>
        test switch
        {
            ReferenceTest.Target target => $"(i.reference <> '' and i.reference = {Value(target.Reference)})",
            ReferenceTest.Identifier identifier => "(i.value <> '' and "
                + Both(
                    identifier.Token.Code is { } value ? $"i.value = {Value(value)}" : null,
                    identifier.Token.System is { } system ? $"i.system = {Value(system)}" : null
                )
                + ")",
            _ => throw new InvalidOperationException($"{test.GetType().Name} has no SQL."),
        };

    private string SubjectMatches(ReferenceTest test) =>
        test switch
        {
            ReferenceTest.Target target => $"r.subject_reference = {Value(target.Reference)}",
            ReferenceTest.Identifier identifier => "(r.subject_value is not null and "
                + Both(
                    identifier.Token.Code is { } value ? $"r.subject_value = {Value(value)}" : null,
                    identifier.Token.System is { } system ? $"r.subject_system = {Value(system)}" : null
                )
                + ")",
            _ => throw new InvalidOperationException($"{test.GetType().Name} has no SQL."),
        };

    private string Date(DateTest test, string from, string to)
    {
        // Where a comparison allows it, one bound stands alone so that an index can serve it. Without a date, "to" is null
        // and no comparison holds; "from" is then the greatest integer, hence the second half of sa.
        var (start, end) = (Value(test.Range.From), Value(test.Range.To));
        return test.Prefix switch
        {
            Prefix.Eq => $"({from} >= {start} and {from} < {end} and {to} <= {end})",
            Prefix.Ne => $"not ({from} >= {start} and {to} <= {end})",
            Prefix.Lt => $"{from} < {start}",
            Prefix.Le => $"({from} < {end} and ({from} < {start} or {to} <= {end}))",
            Prefix.Gt => $"{to} > {end}",
            Prefix.Ge => $"({to} > {start} and ({to} > {end} or {from} >= {start}))",
            Prefix.Sa => $"({from} >= {end} and {to} is not null)",
            Prefix.Eb => $"{to} <= {start}",
            Prefix.Ap => $"({from} < {end} and {to} > {start})",
        };
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
