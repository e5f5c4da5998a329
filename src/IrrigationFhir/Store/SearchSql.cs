using Dapper;

namespace IrrigationFhir.Store;

/// <summary>Turns a <see cref="SearchQuery"/> into SQL. Values travel as parameters only.</summary>
internal sealed class SearchSql
{
    private readonly DynamicParameters _values = new();
    private readonly List<string> _conditions = [];
    private readonly SearchQuery _query;
    private int _count;

    /// <summary>Builds the conditions of a query.</summary>
    public SearchSql(SearchQuery query)
    {
        _query = query;
        _conditions.Add($"r.type = {Value(query.Type.Name)}");
        _conditions.AddRange(query.Criteria.Select(Condition));
    }

    /// <summary>The values the SQL names.</summary>
    public DynamicParameters Values => _values;

    /// <summary>Counts all matches.</summary>
    public string Total() => $"select count(*) from resource r where {string.Join(" and ", _conditions)}";

    /// <summary>One page, and one row more that tells whether there is a next.</summary>
    public string Page()
    {
        var (key, descending) = _query.Order switch
        {
            SearchOrder.Id => ("0", false),
            SearchOrder.Date => ("r.date_from", false),
            SearchOrder.DateDescending => ("r.date_from", true),
            SearchOrder.LastUpdated => ("r.last_updated", false),
            SearchOrder.LastUpdatedDescending => ("r.last_updated", true),
        };

        // Without statistics SQLite likes an index that is sorted already better than one that finds few rows. Where a condition
        // finds few rows and the index of the order would be another, the order is written so that no index can serve it.
        var (sort, id) = IndexServesOrder() ? (key, "r.id") : ($"({key} + 0)", "(r.id || '')");
        var conditions = _conditions.ToList();
        if (_query.After is { } after)
        {
            conditions.Add(_query.Order == SearchOrder.Id
                ? $"{id} > {Value(after.Id)}"
                : $"({sort}, {id}) {(descending ? "<" : ">")} ({Value(after.Key)}, {Value(after.Id)})");
        }

        var direction = descending ? " desc" : "";
        var order = _query.Order == SearchOrder.Id ? id : $"{sort}{direction}, {id}{direction}";
        return $"""
            select r.type as Type, r.id as Id, r.version_id as VersionId, r.last_updated as LastUpdated, r.json as Json, {key} as SortKey
            from resource r where {string.Join(" and ", conditions)} order by {order} limit {Value(_query.Count + 1)}
            """;
    }

    private bool IndexServesOrder()
    {
        var finds = _query.Criteria.Any(criterion => criterion is SearchCriterion.Ids or SearchCriterion.References or SearchCriterion.Coded { Not: false, Parameter: "identifier" });
        var ofPatient = _query.Criteria.Any(criterion => criterion is SearchCriterion.Subject);
        return !finds && (!ofPatient || _query.Order is SearchOrder.Date or SearchOrder.DateDescending);
    }

    private string Condition(SearchCriterion criterion) => criterion switch
    {
        SearchCriterion.Ids ids => $"r.id in ({string.Join(", ", ids.Values.Select(id => Value(id)))})",
        SearchCriterion.Statuses { Codes.Count: 0 } none => none.Not ? "1 = 1" : "1 = 0",
        SearchCriterion.Statuses { Not: false } statuses => $"r.status in ({string.Join(", ", statuses.Codes.Select(code => Value(code)))})",
        SearchCriterion.Statuses statuses => $"(r.status is null or r.status not in ({string.Join(", ", statuses.Codes.Select(code => Value(code)))}))",
        // A code is shared by many resources, an identifier or a target by few: the first is looked up from the resource,
        // the others lead to it.
        SearchCriterion.Coded { Not: false, Parameter: "identifier" } identifier => Among("resource_token", identifier.Parameter, Any(identifier.Tests, Token)),
        SearchCriterion.Coded coded => (coded.Not ? "not " : "") + Exists("resource_token", coded.Parameter, Any(coded.Tests, Token)),
        SearchCriterion.Subject subject => Any(subject.Tests, SubjectMatches),
        SearchCriterion.References references => Among("resource_reference", references.Parameter, Any(references.Tests, ReferenceMatches)),
        SearchCriterion.Dates dates => Any(dates.Tests, test => Date(test, "r.date_from", "r.date_to")),
        // Stored to the microsecond, so that is the width of its range.
        SearchCriterion.LastUpdated dates => Any(dates.Tests, test => Date(test, "r.last_updated", "(r.last_updated + 1000)")),
        SearchCriterion.Missing missing => (missing.IsMissing ? "not " : "") + Present(missing.Parameter),
        _ => throw new InvalidOperationException($"{criterion.GetType().Name} has no SQL."),
    };

    private string Present(IndexedParameter parameter) => parameter switch
    {
        IndexedParameter.Id or IndexedParameter.LastUpdated => "(1 = 1)",
        IndexedParameter.Date => "(r.date_to is not null)",
        IndexedParameter.Status => "(r.status is not null)",
        IndexedParameter.Subject => "(r.subject_reference is not null or r.subject_value is not null)",
        IndexedParameter.Coded coded => Exists("resource_token", coded.Name, "1 = 1"),
        IndexedParameter.Reference reference => Exists("resource_reference", reference.Name, "1 = 1"),
        _ => throw new InvalidOperationException($"{parameter.GetType().Name} has no SQL."),
    };

    private string Exists(string table, string parameter, string condition) =>
        $"exists (select 1 from {table} i where i.patient_key = r.patient_key and i.type = r.type and i.id = r.id and i.parameter = {Value(parameter)} and {condition})";

    // The parameter's name is one of IndexedTypes, never the client's text; as a literal it lets a partial index serve.
    private string Among(string table, string parameter, string condition) =>
        $"r.id in (select i.id from {table} i where i.type = {Value(_query.Type.Name)} and i.parameter = '{parameter}' and {condition})";

    private string Token(TokenTest test) => Both(
        test.Code is null ? null : $"i.code = {Value(test.Code)}",
        test.System is null ? null : $"i.system = {Value(test.System)}");

    private string ReferenceMatches(ReferenceTest test) => test switch
    {
        ReferenceTest.Target target => $"(i.reference <> '' and i.reference = {Value(target.Reference)})",
        ReferenceTest.Identifier identifier => "(i.value <> '' and " + Both(
            identifier.Token.Code is { } value ? $"i.value = {Value(value)}" : null,
            identifier.Token.System is { } system ? $"i.system = {Value(system)}" : null) + ")",
        _ => throw new InvalidOperationException($"{test.GetType().Name} has no SQL."),
    };

    private string SubjectMatches(ReferenceTest test) => test switch
    {
        ReferenceTest.Target target => $"r.subject_reference = {Value(target.Reference)}",
        ReferenceTest.Identifier identifier => "(r.subject_value is not null and " + Both(
            identifier.Token.Code is { } value ? $"r.subject_value = {Value(value)}" : null,
            identifier.Token.System is { } system ? $"r.subject_system = {Value(system)}" : null) + ")",
        _ => throw new InvalidOperationException($"{test.GetType().Name} has no SQL."),
    };

    private string Date(DateTest test, string from, string to)
    {
        // Where a comparison allows it, one bound stands alone so that an index can serve it. Without a date, "to" is null
        // and no comparison holds; "from" is then the greatest integer, hence the second half of sa.
        var (start, end) = (Value(test.Range.From), Value(test.Range.To));
        return test.Prefix switch
        {
            DatePrefix.Eq => $"({from} >= {start} and {from} < {end} and {to} <= {end})",
            DatePrefix.Ne => $"not ({from} >= {start} and {to} <= {end})",
            DatePrefix.Lt => $"{from} < {start}",
            DatePrefix.Le => $"({from} < {end} and ({from} < {start} or {to} <= {end}))",
            DatePrefix.Gt => $"{to} > {end}",
            DatePrefix.Ge => $"({to} > {start} and ({to} > {end} or {from} >= {start}))",
            DatePrefix.Sa => $"({from} >= {end} and {to} is not null)",
            DatePrefix.Eb => $"{to} <= {start}",
            DatePrefix.Ap => $"({from} < {end} and {to} > {start})",
        };
    }

    private static string Any<T>(IReadOnlyList<T> tests, Func<T, string> condition) =>
        tests.Count == 0 ? "(1 = 0)" : $"({string.Join(" or ", tests.Select(condition))})";

    private static string Both(string? left, string? right) => (left, right) switch
    {
        (null, null) => "1 = 1",
        (null, _) => right,
        (_, null) => left,
        _ => $"({left} and {right})",
    };

    private string Value(object value)
    {
        var name = $"v{_count++}";
        _values.Add(name, value);
        return "@" + name;
    }
}
