using System.Text;
using System.Text.Json;
using IrrigationFhir.Analytics;
using IrrigationFhir.Fhir;
using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>Rows of our views, read off the examples by hand; and all rows of them against DuckDB's own reading of the same JSON.</summary>
public class DomainViewsTests(StoriesTold told) : IClassFixture<StoriesTold>
{
    [Theory]
    // A day of which 7 h are covered: 317 mL of a part, and no number of the day.
    [InlineData(
        "corrected_output",
        "corrected-urine-output/day",
        "status=corrected window_kind=local-day is_whole=false covered_h=7 corrected_ml=∅ partial_ml=317 "
            + "simple_ml=∅ absent_reason=not-performed has_caveat=true started_at=2026-03-15T00:00:00+01:00"
    )]
    // 650 drained − 599 in = 51; as charted the bag was not read: 650 − 0; 35 ± 52 with bias taken out.
    [InlineData(
        "corrected_output",
        "corrected-urine-output/interval-final",
        "status=final window_kind=closed-interval is_whole=true covered_h=∅ corrected_ml=51 simple_ml=650 "
            + "best_ml=35 best_uncertainty_ml=52 interval95_low_ml=-69 interval95_high_ml=140 irrigant_ml=599 "
            + "drained_ml=650 absent_reason=∅ episode_key=Procedure/a-night.bladder-irrigation patient_id=P-0417 "
            + "encounter_id=E-8812"
    )]
    [InlineData(
        "output_intervals",
        "corrected-urine-output/absent-irrigant-unknown",
        "corrected_ml=∅ simple_ml=∅ irrigant_ml=∅ drained_ml=650 absent_reason=unknown is_whole=true"
    )]
    [InlineData(
        "output_intervals",
        "corrected-urine-output/absent-not-read-yet",
        "status=preliminary corrected_ml=∅ simple_ml=650 irrigant_ml=∅ drained_ml=650 absent_reason=temp-unknown"
    )]
    [InlineData(
        "output_hours",
        "corrected-urine-output/hour-final",
        "corrected_ml=51 simple_ml=∅ interval95_low_ml=-69 irrigant_ml=∅ is_whole=true"
    )]
    [InlineData("output_hours", "corrected-urine-output/hour-apportioned", "window_kind=clock-hour is_whole=true simple_ml=∅")]
    [InlineData(
        "output_shifts",
        "corrected-urine-output/shift",
        "covered_h=10 corrected_ml=∅ partial_ml=410 started_at=2026-03-14T19:00:00+01:00 ended_at_local=2026-03-15T07:00:00+01:00"
    )]
    [InlineData("output_days", "corrected-urine-output/day", "covered_h=7 partial_ml=317 version_id=9")]
    [InlineData("output_caveats", "corrected-urine-output/interval-final", "caveat_index=0 caveat=irrigant-interpolated caveat_text=∅")]
    [InlineData("output_caveats", "corrected-urine-output/absent-not-read-yet", "caveat_index=0 caveat=irrigant-not-read-yet")]
    [InlineData(
        "output_sources",
        "corrected-urine-output/interval-final",
        "source_index=0 source_key=Observation/a-night.irrigant-instilled.76xn34s3qmidp4cl"
    )]
    [InlineData(
        "output_sources",
        "corrected-urine-output/hour-final",
        "source_index=0 source_key=Observation/a-night.corrected-urine-output.i20260314T210000"
    )]
    [InlineData(
        "urine_output_rates",
        "urine-output-rate/little",
        "rate_ml_per_h=25 rate_ml_per_kg_per_h=0.36 interval95_low_ml_per_h=-8 interval95_high_ml_per_h=58 "
            + "weight_kg=70 weight_kind=actual"
    )]
    [InlineData(
        "urine_output_criteria",
        "urine-output-criterion/low-hourly-output-too-uncertain",
        "criterion=low-hourly-output criterion_reading=every-hour answer=not-evaluable threshold=30 "
            + "threshold_comparator=< threshold_unit=mL compared_value=25 interval95_low=-8 interval95_high=58 "
            + "probability_met_percent=59.3 probability_met_is_at_most=true is_whole=true coverage_percent=∅ "
            + "first_obstacle=too-uncertain weight_kg=∅"
    )]
    [InlineData(
        "urine_output_criteria",
        "urine-output-criterion/stage-1-met-by-the-mean-and-indeterminate-by-the-hour",
        "criterion=kdigo-1 criterion_reading=mean-over-window answer=met threshold=0.5 compared_value=0.345 "
            + "probability_met_percent=100 probability_met_is_at_most=∅ every_hour_answer=indeterminate "
            + "weight_kg=70 weight_kind=actual first_obstacle=∅"
    )]
    [InlineData(
        "flags",
        "irrigation-flag/seen-and-cleared",
        "status=inactive flag=no-drainage priority=PH raised_at=2026-03-14T19:40:00+01:00 "
            + "ended_at=2026-03-14T20:10:00+01:00 acknowledged_at_local=2026-03-14T19:43:00+01:00 "
            + "minutes_to_acknowledge=3 is_retracted=false episode_key=Procedure/blocked.bladder-irrigation"
    )]
    [InlineData(
        "flags",
        "irrigation-flag/withdrawn-by-late-entry",
        "status=entered-in-error flag=drainage-reading-stale ended_at=∅ acknowledged_at=∅ "
            + "minutes_to_acknowledge=∅ is_retracted=true patient_id=P-0508"
    )]
    [InlineData(
        "flag_evidence",
        "irrigation-flag/seen-and-cleared",
        "detail_index=0 detail_key=Observation/blocked.corrected-urine-output.i20260314T184000"
    )]
    [InlineData(
        "flag_evidence",
        "irrigation-flag/withdrawn-by-late-entry",
        "detail_index=0 detail_key=Observation/blocked.bladder-drainage.bxhfb74drl6jt44u"
    )]
    [InlineData(
        "corrections",
        "correction/read-again",
        "activity=UPDATE agent_id=N-31_(invented) reason_text=∅ target_index=0 "
            + "target_key=Observation/a-night.bladder-drainage.gqo3qtpffershnfk "
            + "target_reference=Observation/a-night.bladder-drainage.gqo3qtpffershnfk/_history/2 "
            + "recorded_at=2026-03-15T06:05:00+00:00"
    )]
    [InlineData(
        "corrections",
        "correction/flag-withdrawn",
        "activity=NULLIFY target_key=Flag/blocked.drainage-reading-stale.f20260314T201500 "
            + "episode_key=Procedure/blocked.bladder-irrigation"
    )]
    [InlineData(
        "irrigation_episodes",
        "bladder-irrigation/continuous-run",
        "status=completed irrigation_kind=continuous irrigation_id=I-2026-0093 order_id=O-5521 "
            + "instilled_ml=5370 drained_ml=5720 corrected_ml=410 started_at=2026-03-14T21:00:00+01:00 "
            + "counted_to=2026-03-15T07:00:00+01:00 gaps_text=∅ episode_key=∅"
    )]
    [InlineData(
        "irrigation_runs",
        "bladder-irrigation/short-return",
        "status=stopped irrigation_kind=intermittent-manual instilled_ml=60 drained_ml=17 corrected_ml=∅ "
            + "episode_key=Procedure/short-return.bladder-irrigation"
    )]
    [InlineData(
        "irrigant_readings",
        "irrigant-instilled/bag",
        "irrigant_ml=2960 absent_reason=∅ entry_key=ward-7/bag-taken-down-0120 happened_at=∅ "
            + "started_at=2026-03-14T21:00:00+01:00 ended_at=2026-03-15T01:20:00+01:00 measuring_way=∅"
    )]
    [InlineData(
        "irrigant_readings",
        "irrigant-instilled/unknown",
        "irrigant_ml=∅ absent_reason=unknown entry_key=ward-7/bag-taken-down-2200"
    )]
    [InlineData(
        "drainage_readings",
        "bladder-drainage/emptied",
        "drained_ml=650 was_emptied=true measuring_way=graduation happened_at=2026-03-14T22:00:00+01:00 container_g=∅"
    )]
    [InlineData(
        "drainage_readings",
        "bladder-drainage/weighed",
        "drained_ml=660.04 was_emptied=true measuring_way=weighed container_g=664"
    )]
    public void Rows_are_those_that_a_person_reads_off_the_example(string view, string example, string expected)
    {
        var definition = new DomainViews(new Profiles(Profiles.DefaultCanonicalBase)).Find(view)!.View;
        using var json = JsonDocument.Parse(Repo.Read($"fhir-examples/{example}.json"));
        var resource = Encoding.UTF8.GetBytes(JsonSerializer.Serialize(json.RootElement));
        foreach (var engine in new IViewEngine[] { new TreeEngine(definition), new PassEngine(definition) })
        {
            string? first = null;
            engine.Rows(
                resource,
                row =>
                {
                    var texts = new List<string>();
                    foreach (var name in expected.Split(' ').Select(pair => pair.Split('=')[0]))
                    {
                        var cell = row[definition.Columns.Single(column => column.Name == name).Index];
                        texts.Add($"{name}={(cell.Kind == CellKind.Null ? "∅" : cell.AsText().Replace(' ', '_'))}");
                    }

                    first ??= string.Join(' ', texts);
                }
            );
            Assert.Equal(expected, first);
        }
    }

    [Theory]
    [InlineData("output_days", "irrigation-flag/standing")]
    [InlineData("output_hours", "corrected-urine-output/day")]
    [InlineData("corrected_output", "urine-output-rate/little")]
    [InlineData("irrigation_runs", "bladder-irrigation/continuous-run")]
    [InlineData("drainage_readings", "irrigant-instilled/bag")]
    public void What_is_something_else_makes_no_row(string view, string example)
    {
        var definition = new DomainViews(new Profiles(Profiles.DefaultCanonicalBase)).Find(view)!.View;
        var resource = Encoding.UTF8.GetBytes(Repo.Read($"fhir-examples/{example}.json"));
        new PassEngine(definition).Rows(resource, _ => Assert.Fail($"{example} made a row of {view}"));
    }

    /// <summary>Rows that no published example has, out of the stories: what was charted stands in <c>Stories.cs</c>.</summary>
    [Theory]
    // 21:00 to 22:00: 650 − 600·0.99775 = 51.35; of the 68.65 mL until 01:20 (200 min) the 120 min to midnight: 41.19. Together 92.54.
    [InlineData("output_days", "P-0417", "2026-03-14", "corrected|3|∅|93|not-performed")]
    // 3000 ran in and 2800 drained in the 2 h that are known.
    [InlineData("output_shifts", "P-0504", "2026-03-14T19", "preliminary|2|∅|-200|not-performed")]
    public async Task Windows_of_the_stories_are_those_that_a_person_works_out(string view, string patient, string start, string expected)
    {
        var (tables, _) = await told.Export("parquet");
        Assert.Equal(
            expected,
            Duck.Row(
                $"""
                select status, covered_h::int::text, corrected_ml::int::text, partial_ml::int::text, absent_reason
                from '{tables}/{view}-*.parquet' where patient_id = '{patient}' and started_at_local like '{start}%'
                """
            )
        );
    }

    [Fact]
    public async Task Rates_irrigations_and_runs_of_the_stories_are_those_that_a_person_works_out()
    {
        var (tables, _) = await told.Export("parquet");
        // 20 mL, weighed, in an hour and by 70 kg: 0.2857.
        Assert.Equal(
            "20.000000|0.286000|70.000000",
            Duck.Row(
                $"""
                select rate_ml_per_h::text, rate_ml_per_kg_per_h::text, weight_kg::text from '{tables}/urine_output_rates-*.parquet'
                where patient_id = 'P-0507' and started_at_local like '2026-03-14T18%'
                """
            )
        );
        // 600 mL/h from 18:00 to 19:44 are 1040, 300 mL/h from 20:15 to 21:05 are 250; 1150 emptied and 280 read.
        Assert.Equal(
            "in-progress|1290|1430|140|2026-03-14T21:05:00+01:00",
            Duck.Row(
                $"""
                select status, instilled_ml::int::text, drained_ml::int::text, corrected_ml::int::text, counted_to_local
                from '{tables}/irrigation_episodes-*.parquet' where patient_id = 'P-0508'
                """
            )
        );
        // 60 mL left in behind a clamp at 05:00, and 135 drained at 06:00.
        Assert.Equal(
            "completed|60|135|∅",
            Duck.Row(
                $"""
                select status, instilled_ml::int::text, drained_ml::int::text, corrected_ml::text
                from '{tables}/irrigation_runs-*.parquet' where patient_id = 'P-0417' and irrigation_kind = 'instillation-dwell'
                """
            )
        );
    }

    [Fact]
    public void Every_view_has_a_version_and_its_published_text_is_the_view_that_is_run()
    {
        foreach (var view in told.Views.All)
        {
            var (read, problems) = ViewReader.Read(JsonDocument.Parse(view.Text).RootElement);
            Assert.Empty(problems);
            Assert.Equal(view.View.Columns.Select(column => column.Name), read!.Columns.Select(column => column.Name));
            Assert.Equal(DomainViews.Version, (string?)view.Json["version"]);
            Assert.All(
                view.View.Columns.Where(column => column.Type == "decimal"),
                column => Assert.Equal("DECIMAL(18,6)", column.SqlType)
            );
        }
    }
}
