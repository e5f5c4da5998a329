namespace IrrigationFhir.Tests.Analytics;

/// <summary>
/// Every view against DuckDB's own JSON functions (https://duckdb.org/docs/stable/data/json/json_functions), which read the exported FHIR
/// and share no code with ours: all columns of all rows that the stories make.
/// </summary>
public class ViewsByDuckDBTests(StoriesTold told) : IClassFixture<StoriesTold>
{
    /// <summary>How FHIR says things, for DuckDB.</summary>
    private const string Words = """
        create macro txt(j, p) as json_extract_string(j, p);
        create macro num(j, p) as json_extract_string(j, p)::decimal(18,6);
        create macro tim(j, p) as json_extract_string(j, p)::timestamptz;
        create macro named(l, p, v) as list_filter(l, x -> list_contains(json_extract_string(x, p), v))[1];
        create macro part(j, slug) as named(json_extract(j, '$.component[*]'), '$.code.coding[*].code', slug);
        create macro hasnt(j, slug) as part(j, slug) is null;
        create macro amount(j, slug) as num(part(j, slug), '$.valueQuantity.value');
        create macro concept(j, slug) as txt(part(j, slug), '$.valueCodeableConcept.coding[*].code')[1];
        create macro of_url(l, ending) as list_filter(l, x -> json_extract_string(x, '$.url') like '%' || ending)[1];
        create macro ext(j, ending) as of_url(json_extract(j, '$.extension[*]'), ending);
        create macro key(ref, type) as case when ref like type || '/%' then regexp_replace(ref, '/_history/.*', '') end;
        create macro about(j, p) as txt(j, '$.subject.' || p);
        create macro of_system(l, sys) as list_filter(l, x -> json_extract_string(x, '$.system') like '%' || sys)[1];
        create macro of(j, sys, p) as txt(of_system(json_extract(j, p), sys), '$.code');
        create macro way(j, sys) as of(j, sys, '$.method.coding[*]');
        """;

    private const string Common = """
        txt(j, '$.resourceType') || '/' || txt(j, '$.id'), txt(j, '$.status'), tim(j, '$.meta.lastUpdated'), txt(j, '$.meta.versionId'),
        about(j, 'identifier.system'), about(j, 'identifier.value'), key(about(j, 'reference'), 'Patient'),
        txt(j, '$.encounter.identifier.value')
        """;

    private const string Key = """
        txt(j, '$.resourceType') || '/' || txt(j, '$.id'),
        about(j, 'identifier.system'), about(j, 'identifier.value'), key(about(j, 'reference'), 'Patient')
        """;

    private const string Episode = "key(txt(j, '$.partOf[0].reference'), 'Procedure')";
    private const string EpisodeByExtension = "key(txt(ext(j, '/part-of-irrigation'), '$.valueReference.reference'), 'Procedure')";
    private const string Period = """
        tim(j, '$.effectivePeriod.start'), txt(j, '$.effectivePeriod.start'),
        tim(j, '$.effectivePeriod.end'), txt(j, '$.effectivePeriod.end')
        """;
    private const string Window = "of(j, '/CodeSystem/output-window', '$.category[*].coding[*]')";
    private const string Absent = "txt(j, '$.dataAbsentReason.coding[0].code')";

    private const string Reading = """
        txt(list_filter(json_extract(j, '$.identifier[*]'), x -> txt(x, '$.system') like '%/NamingSystem/entry')[1], '$.value'),
        tim(j, '$.effectiveDateTime'), txt(j, '$.effectiveDateTime'), way(j, '/CodeSystem/measuring-way')
        """;

    private const string Output = $"""
        {Common}, {Episode}, {Window}, {Period}, hasnt(j, 'covered-duration'), amount(j, 'covered-duration'),
        num(j, '$.valueQuantity.value'),
        amount(j, 'partial-volume'), amount(j, 'best-estimate'),
        num(ext(json_extract(part(j, 'best-estimate'), '$.valueQuantity'), '/iso21090-uncertainty'), '$.valueDecimal'),
        num(part(j, 'interval-95'), '$.valueRange.low.value'), num(part(j, 'interval-95'), '$.valueRange.high.value'),
        case when hasnt(j, 'simple-output') and {Window} <> 'clock-hour' then num(j, '$.valueQuantity.value')
             else amount(j, 'simple-output') end,
        amount(j, 'irrigant-instilled'), amount(j, 'bladder-drainage-total'), amount(j, 'retained-change'), amount(j, 'leak-estimated'),
        way(j, '/CodeSystem/calculation-method'), {Absent}, not hasnt(j, 'caveat'), json_exists(j, '$.note[0]')
        from Observation where {Window} is not null
        """;

    private const string Account = "ext(j, '/irrigation-account')";

    private const string Irrigation = $"""
        {Common}, key(txt(j, '$.partOf[0].reference'), 'Procedure'), txt(j, '$.identifier[0].system'), txt(j, '$.identifier[0].value'),
        txt(j, '$.basedOn[0].identifier.value'), of(j, '/CodeSystem/irrigation-kind', '$.code.coding[*]'),
        tim(j, '$.performedPeriod.start'), txt(j, '$.performedPeriod.start'),
        tim(j, '$.performedPeriod.end'), txt(j, '$.performedPeriod.end'),
        tim(ext({Account}, 'time'), '$.valuePeriod.start'), txt(ext({Account}, 'time'), '$.valuePeriod.start'),
        tim(ext({Account}, 'time'), '$.valuePeriod.end'), txt(ext({Account}, 'time'), '$.valuePeriod.end'),
        num(ext({Account}, 'instilled'), '$.valueQuantity.value'), num(ext({Account}, 'drained'), '$.valueQuantity.value'),
        num(ext({Account}, 'corrected-output'), '$.valueQuantity.value'), txt(j, '$.usedCode[0].text'), txt(j, '$.note[0].text')
        from Procedure
        """;

    /// <summary>What each view is, said once more in DuckDB's words: its columns in their order.</summary>
    private static readonly Dictionary<string, string> Own = new()
    {
        ["corrected_output"] = Output,
        ["output_intervals"] = $"{Output} and {Window} = 'closed-interval'",
        ["output_hours"] = $"{Output} and {Window} = 'clock-hour'",
        ["output_shifts"] = $"{Output} and {Window} = 'shift'",
        ["output_days"] = $"{Output} and {Window} = 'local-day'",
        ["output_caveats"] = $"""
            {Key}, i, of(c, '/CodeSystem/caveat', '$.valueCodeableConcept.coding[*]'), txt(c, '$.valueCodeableConcept.text')
            from (select j, unnest(l) as c, unnest(range(len(l))) as i
                  from (select j, list_filter(json_extract(j, '$.component[*]'),
                          x -> list_contains(json_extract_string(x, '$.code.coding[*].code'), 'caveat')) as l from Observation
                        where {Window} is not null))
            """,
        ["output_sources"] = $"""
            {Key}, i, key(r, 'Observation')
            from (select j, unnest(l) as r, unnest(range(len(l))) as i
                  from (select j, txt(j, '$.derivedFrom[*].reference') as l from Observation where {Window} is not null))
            """,
        ["urine_output_rates"] = $"""
            {Common}, {Episode}, {Period}, num(j, '$.valueQuantity.value'), amount(j, 'urine-output-rate-per-weight'),
            num(part(j, 'interval-95'), '$.valueRange.low.value'), num(part(j, 'interval-95'), '$.valueRange.high.value'),
            amount(j, 'body-weight'), concept(j, 'weight-kind'), {Absent}
            from Observation where list_contains(txt(j, '$.code.coding[*].code'), 'urine-output-rate')
            """,
        ["urine_output_criteria"] = $"""
            {Common}, {Episode}, of(j, '/CodeSystem/urine-output-criterion', '$.code.coding[*]'), {Period},
            txt(j, '$.valueCodeableConcept.coding[*].code')[1], txt(j, '$.method.coding[*].code')[1], amount(j, 'criterion-threshold'),
            txt(part(j, 'criterion-threshold'), '$.valueQuantity.comparator'), txt(part(j, 'criterion-threshold'), '$.valueQuantity.code'),
            amount(j, 'criterion-value'), num(part(j, 'interval-95'), '$.valueRange.low.value'),
            num(part(j, 'interval-95'), '$.valueRange.high.value'), amount(j, 'probability-met'),
            txt(part(j, 'probability-met'), '$.valueQuantity.comparator') = '<=', hasnt(j, 'coverage'), amount(j, 'coverage'),
            concept(j, 'obstacle'), concept(j, 'every-hour-answer'), amount(j, 'every-hour-probability-met'), amount(j, 'body-weight'),
            concept(j, 'weight-kind')
            from Observation where list_contains(txt(j, '$.code.coding[*].code'), 'urine-output-criterion')
            """,
        ["flags"] = $"""
            {Common}, {EpisodeByExtension}, of(j, '/CodeSystem/irrigation-flag', '$.code.coding[*]'), txt(j, '$.code.text'),
            txt(j, '$.category[*].coding[*].code')[1], txt(ext(j, '/flag-priority'), '$.valueCodeableConcept.coding[0].code'),
            tim(j, '$.period.start'), txt(j, '$.period.start'), tim(j, '$.period.end'), txt(j, '$.period.end'),
            tim(ext(j, '/flag-acknowledged'), '$.valueDateTime'), txt(ext(j, '/flag-acknowledged'), '$.valueDateTime'),
            num(ext(j, '/flag-time-to-acknowledge'), '$.valueQuantity.value'), txt(j, '$.status') = 'entered-in-error',
            txt(ext(j, '/flag-statement'), '$.valueString')
            from Flag
            """,
        ["flag_evidence"] = $"""
            {Key}, i, regexp_replace(txt(e, '$.valueReference.reference'), '/_history/.*', '')
            from (select j, unnest(l) as e, unnest(range(len(l))) as i
                  from (select j, list_filter(json_extract(j, '$.extension[*]'), x -> txt(x, '$.url') like '%/flag-detail') as l from Flag))
            """,
        ["corrections"] = $"""
            'Provenance/' || txt(j, '$.id'), tim(j, '$.meta.lastUpdated'), tim(j, '$.recorded'), txt(j, '$.activity.coding[0].code'),
            txt(j, '$.agent[*].who.identifier.value')[1], txt(j, '$.reason[*].text')[1], {EpisodeByExtension}, i,
            regexp_replace(r, '/_history/.*', ''), r
            from (select j, unnest(l) as r, unnest(range(len(l))) as i
                  from (select j, txt(j, '$.target[*].reference') as l from Provenance))
            """,
        ["irrigation_episodes"] = $"{Irrigation} where not json_exists(j, '$.partOf[0]')",
        ["irrigation_runs"] = $"{Irrigation} where json_exists(j, '$.partOf[0]')",
        ["irrigant_readings"] = $"""
            {Common}, {Episode}, {Reading}, {Period}, num(j, '$.valueQuantity.value'), {Absent}
            from Observation where list_contains(txt(j, '$.code.coding[*].code'), 'irrigant-instilled')
            """,
        ["drainage_readings"] = $"""
            {Common}, {Episode}, {Reading}, num(j, '$.valueQuantity.value'), txt(part(j, 'container-emptied'), '$.valueBoolean')::boolean,
            amount(j, 'container-mass'), {Absent}
            from Observation where list_contains(txt(j, '$.code.coding[*].code'), 'bladder-drainage-total')
            """,
    };

    public static TheoryData<string> Views => [.. Own.Keys];

    [Theory]
    [MemberData(nameof(Views))]
    public async Task Every_column_of_every_row_is_what_DuckDB_reads_out_of_the_JSON_itself(string name)
    {
        var (fhir, _) = await told.Export("fhir");
        var (tables, _) = await told.Export("parquet");
        var columns = string.Join(", ", told.Views.Find(name)!.View.Columns.Select(column => $"\"{column.Name}\""));
        var types = string.Concat(
            new[] { "Observation", "Procedure", "Flag", "Provenance" }.Select(type =>
                $"create view {type} as select json as j from read_json_objects('{fhir}/{type}-*.ndjson', format = 'newline_delimited'); "
            )
        );
        var (own, ours) = ($"select {Own[name]}", $"select {columns} from '{tables}/{name}-*.parquet'");
        Assert.NotEqual("0", Duck.Row($"select count(*)::text from ({ours})"));
        // What one has and the other has not, and of which.
        Assert.Empty(
            Duck.Rows(
                $"""
                {Words} {types}
                create view own as select * from ({own}) as t({columns}); create view ours as {ours};
                select columns(*)::text from ((select 'DuckDB', * from (from own except all from ours))
                  union all (select 'we', * from (from ours except all from own)))
                order by 2 limit 6
                """
            )
        );
    }

    [Fact]
    public void No_view_is_left_out() => Assert.Equal(told.Views.All.Select(view => view.View.Name).Order(), Own.Keys.Order());
}
