using System.Data.Common;
using Dapper;
using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>What a search asks for by words, as the numbers that stand for it in the store.</summary>
internal sealed class SearchKeys
{
    private readonly Dictionary<SearchCriterion, Subjects> _subjects = new(ReferenceEqualityComparer.Instance);
    private readonly Dictionary<SearchCriterion, IReadOnlyList<long>> _codes = new(ReferenceEqualityComparer.Instance);

    private SearchKeys() { }

    /// <summary>Patients that a search is about, and of each the sets of references that say so.</summary>
    /// <param name="Tests">As they are asked for.</param>
    /// <param name="Patients">Two at most: whether there are more plays no part.</param>
    public sealed record Subjects(IReadOnlyList<ReferenceTest> Tests, IReadOnlyList<(long Patient, IReadOnlyList<long> Sets)> Patients);

    /// <summary>Looks them up.</summary>
    public static async Task<SearchKeys> Of(SearchQuery query, DbConnection connection, DbTransaction? snapshot, CancellationToken stop)
    {
        var keys = new SearchKeys();
        foreach (var criterion in query.Criteria.SelectMany(Single))
        {
            if (criterion is SearchCriterion.Subject subject)
                keys._subjects.Add(subject, await Patients(subject));
            if (Codes(criterion) is { } codes)
                keys._codes.Add(criterion, await Sets(codes));
        }

        return keys;

        async Task<Subjects> Patients(SearchCriterion.Subject subject)
        {
            var values = new DynamicParameters();
            var tests = subject.Tests.Select(test => SearchSql.Matches(test, "m", value => Add(values, value))).ToList();
            if (tests.Count == 0)
                return new(subject.Tests, []);
            var rows = await connection.QueryAsync<(long Patient, long Number)>(
                new CommandDefinition(
                    $"""
                    with found as (select m.patient, m.number from reference_set_member m
                        where m.parameter = '{PatientPartition.Subject}' and ({string.Join(" or ", tests)}))
                    select patient, number from found where patient in (select distinct patient from found limit 2)
                    """,
                    values,
                    snapshot,
                    cancellationToken: stop
                )
            );
            return new(
                subject.Tests,
                [
                    .. rows.GroupBy(row => row.Patient, row => row.Number)
                        .Select(group => (group.Key, (IReadOnlyList<long>)[.. group.Distinct()])),
                ]
            );
        }

        async Task<IReadOnlyList<long>> Sets(IReadOnlyList<TokenTest> tests)
        {
            var values = new DynamicParameters();
            var conditions = tests.Select(test =>
                $"(m.code = {Add(values, test.Code!)}{(test.System is { } system ? $" and m.system = {Add(values, system)}" : "")})"
            );
            return
            [
                .. await connection.QueryAsync<long>(
                    new CommandDefinition(
                        $"""
                        select distinct m.number from coding_set_member m
                        where m.parameter = '{IndexedTypes.OwnCode}' and ({string.Join(" or ", conditions)}) order by m.number
                        """,
                        values,
                        snapshot,
                        cancellationToken: stop
                    )
                ),
            ];
        }
    }

    private static IEnumerable<SearchCriterion> Single(SearchCriterion criterion) =>
        criterion is SearchCriterion.AnyOf any ? any.Alternatives.SelectMany(all => all).SelectMany(Single) : [criterion];

    /// <summary>Whom a criterion is about.</summary>
    public Subjects Of(SearchCriterion.Subject subject) => _subjects[subject];

    /// <summary>The sets of codings of which a match has one as its code; null where a criterion asks for none.</summary>
    public IReadOnlyList<long>? CodesOf(SearchCriterion criterion) => _codes.GetValueOrDefault(criterion);

    private static IReadOnlyList<TokenTest>? Codes(SearchCriterion criterion) =>
        criterion switch
        {
            SearchCriterion.Coded { Not: false, Rows: [IndexedTypes.OwnCode] } coded => coded.Tests,
            SearchCriterion.Pairs { Rows: [IndexedTypes.OwnCode] } pairs => [.. pairs.Tests.Select(pair => pair.Code).Distinct()],
            _ => null,
        }
            is { Count: > 0 } tests
        && tests.All(test => test.Code is not null)
            ? tests
            : null;

    private static string Add(DynamicParameters values, object value)
    {
        var name = $"v{values.ParameterNames.Count()}";
        values.Add(name, value);
        return $"@{name}";
    }
}
