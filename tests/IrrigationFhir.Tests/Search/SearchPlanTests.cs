using IrrigationFhir.Search;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using IrrigationFhir.Tests.Store;
using static IrrigationFhir.Tests.Store.StoreOnDisk;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Search;

/// <summary>Which index serves which search: SQLite chooses without statistics, and would choose otherwise.</summary>
public class SearchPlanTests(SearchPlanTests.Ward ward) : IClassFixture<SearchPlanTests.Ward>
{
    private readonly StoreOnDisk _store = ward.Store;

    [Theory]
    // What a search by patient or by code costs: an index leads to it, and the order needs no sorting.
    [InlineData("patient.identifier", "resource_of_patient", false)]
    [InlineData("patient", "resource_of_patient", false)]
    [InlineData("code", "resource_by_code", true)]
    [InlineData("code with a date", "resource_by_code", true)]
    [InlineData("code under any system", "resource_by_code", true)]
    [InlineData("two codes", "resource_by_code", true)]
    [InlineData("patient and code", "resource_of_patient", false)]
    [InlineData("identifier", "i USING PRIMARY KEY", true)]
    [InlineData("derived-from", "resource_by_id", true)]
    [InlineData("one code", "resource_by_code", false)]
    [InlineData("since", "resource_lasting", true)]
    [InlineData("since, besides what lasts", "resource_by_date", true)]
    [InlineData("id", "resource_by_id", false)]
    [InlineData("nothing", "resource_by_date", false)]
    [InlineData("last updated", "sqlite_autoindex_resource_version_1", false)]
    [InlineData("status", "resource_by_status", false)]
    [InlineData("status, latest first", "resource_by_status", false)]
    [InlineData("status after a page", "resource_by_status", false)]
    [InlineData("status and date", "resource_by_status", false)]
    // A status may be that of most: where something else finds few, that leads.
    [InlineData("patient and status", "resource_of_patient", false)]
    [InlineData("code and status of most", "resource_by_code", true)]
    [InlineData("code and passing status", "resource_by_status", false)]
    [InlineData("identifier and status", "i USING PRIMARY KEY", true)]
    [InlineData("two statuses", "resource_by_date", false)]
    [InlineData("code and value", "resource_by_code", true)]
    [InlineData("patient, code and value", "resource_of_patient", false)]
    public async Task A_common_search_is_served_by_an_index(string search, string index, bool sorts)
    {
        var observation = IndexedTypes.Find("Observation")!;
        var patient = new SearchCriterion.Subject([new ReferenceTest.Identifier(new(PatientSystem, "P-1"))]);
        var code = new SearchCriterion.Coded(["code"], [new("https://ward.example/codes", "drainage")], Not: false);
        var status = new SearchCriterion.Statuses(["preliminary"], Not: false);
        var value = new SearchCriterion.Pairs(
            ["code"],
            [(new("https://ward.example/codes", "drainage"), new QuantityTest.AnyUnit(new("1", true, null, false, false)))]
        );
        var (criteria, order) = search switch
        {
            "patient.identifier" => (new SearchCriterion[] { patient }, Array.Empty<SortKey>()),
            "status" or "status after a page" => ([status], []),
            "status, latest first" => ([status], [new(observation.Date, true)]),
            "status and date" => ([status, new SearchCriterion.Dates([new(Prefix.Lt, new(1_000_000_000, 2_000_000_000))])], []),
            "patient and status" => ([patient, status], []),
            "code and status of most" => ([code, new SearchCriterion.Statuses(["final"], Not: false)], []),
            "code and passing status" => ([code, status], []),
            "identifier and status" => ([new SearchCriterion.Coded(["identifier"], [new(null, "O-a")], Not: false), status], []),
            "two statuses" => ([new SearchCriterion.Statuses(["preliminary", "amended"], Not: false)], []),
            "code and value" => ([value], []),
            "patient, code and value" => ([patient, value], []),
            "patient" => ([new SearchCriterion.Subject([new ReferenceTest.Target("Patient/1")])], []),
            "code" => ([code], []),
            "code with a date" => (
                [code, new SearchCriterion.Dates([new(Prefix.Eq, new(0, 1_000_000_000))])],
                [new(observation.Date, true)]
            ),
            "one code" => ([new SearchCriterion.Coded(["code"], [new(null, "urine")], Not: false)], []),
            "since" or "since, besides what lasts" => (
                [new SearchCriterion.Dates([new(Prefix.Ge, new(1_000_000_000, 2_000_000_000))])],
                []
            ),
            "code under any system" => ([new SearchCriterion.Coded(["code"], [new(null, "drainage")], Not: false)], []),
            "two codes" => ([new SearchCriterion.Coded(["code"], [new(null, "drainage"), new(null, "urine")], Not: false)], []),
            "patient and code" => ([patient, code], [new(observation.Date, true)]),
            "identifier" => ([new SearchCriterion.Coded(["identifier"], [new(null, "O-a")], Not: false)], []),
            "derived-from" => ([new SearchCriterion.References("derived-from", [new ReferenceTest.Target("Observation/a")])], []),
            "id" => ([new SearchCriterion.Ids(["a"])], []),
            "nothing" => ([], []),
            "last updated" => (
                [new SearchCriterion.LastUpdated([new(Prefix.Gt, new(0, 1000))])],
                [new(observation.Find("_lastUpdated")!, false)]
            ),
            _ => throw new InvalidOperationException(search),
        };
        var sql = await Sql(new(observation, criteria, order, 100, search == "status after a page" ? new([1L], "a") : null));

        var plan = await Plan(sql.Page(), sql.Values);

        Assert.Contains(
            plan,
            step => step.StartsWith("SEARCH", StringComparison.Ordinal) && step.Contains($"{index} (", StringComparison.Ordinal)
        );
        Assert.DoesNotContain(
            plan,
            step =>
                step.StartsWith("SCAN", StringComparison.Ordinal)
                && !step.Contains("CONSTANT ROW", StringComparison.Ordinal)
                && !step.Contains("(subquery", StringComparison.Ordinal)
        );
        Assert.Equal(sorts, plan.Contains("USE TEMP B-TREE FOR ORDER BY"));
    }

    [Theory]
    [InlineData("code")]
    [InlineData("category")]
    public async Task The_latest_of_a_patient_are_found_among_those_of_the_patient(string by)
    {
        var patient = new SearchCriterion.Subject([new ReferenceTest.Identifier(new(PatientSystem, "P-1"))]);
        var coded = new SearchCriterion.Coded([by], [new("https://ward.example/codes", "drainage")], Not: false);
        var sql = await Sql(
            new(IndexedTypes.Find("Observation")!, [patient, coded, new SearchCriterion.Statuses(["entered-in-error"], Not: true)], [], 100)
        );

        var plan = await Plan(sql.Codes(), sql.Values);

        Assert.StartsWith("SEARCH r USING INDEX resource_of_patient (patient=? AND type=?", plan[0], StringComparison.Ordinal);
        Assert.DoesNotContain(plan, step => step.StartsWith("SCAN", StringComparison.Ordinal));
    }

    [Theory]
    [InlineData("Pointing", "INDEX resource_by_id", "USING PRIMARY KEY (patient=? AND parameter=? AND target=?)")]
    [InlineData("PointingAlike", "INDEX reference_set_member_by_reference", "INDEX resource_of_patient (patient=? AND type=?")]
    [InlineData("PointedAt", "INDEX resource_by_id", "USING PRIMARY KEY (patient=? AND number=? AND parameter=?)")]
    public async Task What_comes_along_is_found_from_the_matches(string direction, string first, string second)
    {
        var plan = await Plan(
            direction switch
            {
                "Pointing" => Inclusions.Pointing,
                "PointingAlike" => Inclusions.PointingAlike,
                _ => Inclusions.PointedAt,
            },
            new
            {
                type = 1,
                target = 1,
                links = new[] { 1, 2 },
                parameters = new[] { "part-of", "performer" },
                ids = new[] { "a", "b" },
                addresses = new[] { "Observation/a", "Observation/b" },
            }
        );

        Assert.Contains(first, plan[0], StringComparison.Ordinal);
        Assert.Contains(second, plan[1], StringComparison.Ordinal);
        Assert.DoesNotContain(plan, step => step.StartsWith("SCAN", StringComparison.Ordinal));
    }

    [Theory]
    // Whichever way the dates are compared, the patient leads.
    [InlineData(Prefix.Eq)]
    [InlineData(Prefix.Lt)]
    [InlineData(Prefix.Le)]
    [InlineData(Prefix.Gt)]
    [InlineData(Prefix.Ge)]
    [InlineData(Prefix.Sa)]
    [InlineData(Prefix.Eb)]
    [InlineData(Prefix.Ap)]
    public async Task A_date_leads_no_search_within_a_patient_or_a_status(object prefix)
    {
        var date = new SearchCriterion.Dates([new((Prefix)prefix, new(1_000_000_000, 2_000_000_000))]);
        foreach (
            var (few, index) in new (SearchCriterion, string)[]
            {
                (new SearchCriterion.Subject([new ReferenceTest.Target("Patient/1")]), "resource_of_patient"),
                (new SearchCriterion.Statuses(["preliminary"], Not: false), "resource_by_status"),
            }
        )
        {
            var sql = await Sql(new(IndexedTypes.Find("Observation")!, [few, date], [], 100));
            Assert.Contains($"INDEX {index} ", (await Plan(sql.Page(), sql.Values))[0], StringComparison.Ordinal);
            Assert.Contains($"INDEX {index} ", (await Plan(sql.Total(), sql.Values))[0], StringComparison.Ordinal);
        }
    }

    [Theory]
    [InlineData("acknowledged", "2026-03-02")]
    [InlineData("time-to-acknowledge", "gt30||min")]
    public async Task When_a_flag_was_seen_is_looked_up_from_the_flag(string by, string value)
    {
        var flag = IndexedTypes.Find("Flag")!;
        SearchCriterion seen =
            by == "acknowledged"
                ? new SearchCriterion.Moments(by, [new(Prefix.Ge, TimeRange.Parse(value, NodaTime.DateTimeZone.Utc)!.Value)])
                : new SearchCriterion.Quantities([by], [.. QuantityText.Read(value)!]);
        foreach (
            var (few, index) in new (SearchCriterion[], string)[]
            {
                ([], "resource_by_date"),
                ([new SearchCriterion.Statuses(["active"], Not: false)], "resource_by_status"),
                ([new SearchCriterion.Subject([new ReferenceTest.Target("Patient/1")])], "resource_of_patient"),
            }
        )
        {
            var sql = await Sql(new(flag, [.. few, seen], [], 100));
            var plan = await Plan(sql.Page(), sql.Values);
            Assert.Contains($"INDEX {index} ", plan[0], StringComparison.Ordinal);
            // The time to see it stands in the flag's own row.
            if (by == "acknowledged")
            {
                Assert.Contains(
                    plan,
                    step => step.StartsWith("SEARCH i ", StringComparison.Ordinal) && step.Contains("PRIMARY KEY", StringComparison.Ordinal)
                );
            }

            Assert.DoesNotContain(
                plan,
                step =>
                    step.StartsWith("SCAN", StringComparison.Ordinal)
                    && !step.Contains("CONSTANT ROW", StringComparison.Ordinal)
                    && !step.Contains("(subquery", StringComparison.Ordinal)
            );
        }
    }

    [Fact]
    public async Task What_has_a_status_is_counted_in_the_index_alone()
    {
        var sql = await Sql(new(IndexedTypes.Find("Flag")!, [new SearchCriterion.Statuses(["active"], Not: false)], [], 0));

        Assert.Equal(["SEARCH r USING COVERING INDEX resource_by_status (type=? AND status=?)"], await Plan(sql.Total(), sql.Values));
    }

    [Fact]
    public async Task The_history_of_a_type_is_read_in_the_order_of_storing()
    {
        var plan = await Plan(
            $"{ResourceStore.TypeHistorySql} {ResourceStore.TypeHistoryOrder}",
            new
            {
                type = 1,
                since = 0L,
                stored = long.MaxValue,
                id = "",
                count = 100,
            }
        );

        Assert.StartsWith("SEARCH v USING INDEX sqlite_autoindex_resource_version_1 (at>? AND at<?)", plan[0], StringComparison.Ordinal);
        Assert.DoesNotContain("USE TEMP B-TREE FOR ORDER BY", plan);
    }

    private async Task<SearchSql> Sql(SearchQuery query)
    {
        await using var connection = _store.Database.OpenForReading();
        return new(query, await SearchKeys.Of(query, connection, null, default));
    }

    private async Task<List<string>> Plan(string text, object values)
    {
        await using var connection = _store.Database.OpenForReading();
        Dialect.UseStoredJson(connection);
        var steps = await Dapper.SqlMapper.QueryAsync(connection, "explain query plan " + text, values);
        return [.. steps.Select(step => (string)step.detail)];
    }

    public sealed class Ward : IAsyncLifetime
    {
        internal StoreOnDisk Store { get; } = New();

        public async Task InitializeAsync()
        {
            // Of a patient with an identifier and of one with an address; one code alone, and one with another beside it.
            await Store.OpenEpisode("night");
            await Store.Save("night", [], Drainage("a", "2026-03-02T08:00:00Z", null, 100));
            var both = Drainage("b", "2026-03-02T08:00:00Z", null, 100);
            both.Code.Coding.Add(new("https://ward.example/codes", "emptied"));
            await Store.Save("night", [], both);
            await Store.OpenEpisode("day", "P-2");
            var urine = Drainage("c", "2026-03-02T08:00:00Z", null, 100);
            urine.Code = new("https://ward.example/codes", "urine");
            urine.Subject = new("Patient/1");
            await Store.Save("day", [], urine);
        }

        public async Task DisposeAsync() => await Store.DisposeAsync();
    }
}
