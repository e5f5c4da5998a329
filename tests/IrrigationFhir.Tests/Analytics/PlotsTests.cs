using System.Globalization;
using System.Text;
using IrrigationFhir.Tests.Repository;
using MathNet.Numerics.Distributions;
using OxyPlot;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>The answers to the ten questions as plots, on a page of their own: to be seen before anything is installed.</summary>
public class PlotsTests(StoriesTold told) : IClassFixture<StoriesTold>
{
    private const string Questions = "fhir-examples/analytics/questions";
    private const string Page = "fhir-examples/analytics/plots";
    private const string NotKnown = "not known";

    private const string Above = """
        # What the ten questions answer

        Drawn from the answers beside the [questions](../questions), on the invented wards of these examples: a dozen stays, so that every
        mark can be followed by hand. What is not known is written as such and never drawn as 0; a number below 0 is kept.

        """;

    /// <summary>A row of an answer, by the names of its columns.</summary>
    private sealed record Row(IReadOnlyDictionary<string, string> Cells)
    {
        public string this[string column] => Cells[column];

        public double? Number(string column) => Cells[column] == "∅" ? null : double.Parse(Cells[column], CultureInfo.InvariantCulture);

        /// <summary>Day and time on the ward's clock.</summary>
        public string Clock(string column) => $"{Cells[column][8..10]} March {Cells[column][11..16]}";
    }

    [Fact]
    public async Task Every_answer_is_drawn_and_the_page_says_how_to_read_it()
    {
        CultureInfo.CurrentCulture = CultureInfo.InvariantCulture;
        var (tables, _) = await told.Export("parquet");
        var page = new StringBuilder(Above);
        foreach (var question in Repo.Files(Questions, "*.sql"))
        {
            var (name, text) = (Path.GetFileNameWithoutExtension(question), Repo.Read(question));
            var answer = Duck.Table($"set file_search_path = '{tables}'; {text}").Select(line => line.Split(" | ")).ToList();
            var rows = answer.Skip(1).Select(cells => new Row(answer[0].Zip(cells).ToDictionary(c => c.First, c => c.Second))).ToList();
            var (reading, plot) = Draw(name[..2], rows);
            Repo.Agrees($"{Page}/{name}.svg", plot.Svg());
            page.Append(CultureInfo.InvariantCulture, $"\n## {text.Split('\n')[0][3..]}\n\n{reading}\n\n![{reading}]({name}.svg)\n");
        }

        Repo.Agrees($"{Page}/README.md", page.ToString());
    }

    private static (string Reading, RowPlot Plot) Draw(string number, List<Row> rows) =>
        number switch
        {
            "01" => Corrected(rows),
            "02" => BelowThirty(rows),
            "03" => WithoutNumber(rows),
            "04" => Acknowledged(rows),
            "05" => Litres(rows),
            "06" => TakenBack(rows),
            "07" => Covered(rows),
            "08" => Obstruction(rows),
            "09" => BelowZero(rows),
            "10" => Criteria(rows),
            _ => throw new ArgumentOutOfRangeException(nameof(number), number, "a question that nobody draws"),
        };

    private static (string, RowPlot) Corrected(List<Row> rows)
    {
        var worst = rows.Where(row => row.Number("difference_ml") is not null).MaxBy(row => Math.Abs(row.Number("difference_ml")!.Value))!;
        return (
            $"{worst["patient_id"]} made {worst["corrected_ml"]} mL where drainage minus irrigant says {worst["simple_ml"]} mL; of "
                + $"{rows.Count(row => row["corrected_ml"] == "∅")} patients nobody can tell.",
            new RowPlot(
                "Corrected output, and drainage minus irrigant",
                "sum of the closed intervals of a patient",
                "mL",
                -300,
                1600,
                Names(rows, "patient_id")
            )
                .Line(0)
                .Ranges(rows.Select(row => (row.Number("corrected_ml"), row.Number("simple_ml"))), RowPlot.Pale)
                .Points(rows.Select(row => row.Number("simple_ml")), MarkerType.Square, RowPlot.Orange, "drainage minus irrigant")
                .Points(rows.Select(row => row.Number("corrected_ml")), MarkerType.Circle, RowPlot.Blue, "corrected output")
                .Words(
                    rows.Select(row =>
                    {
                        var said = row["corrected_ml"] == "∅" ? $"corrected output {NotKnown}" : null;
                        return (row.Number("simple_ml") ?? 0, said);
                    }),
                    unknown: true
                )
        );
    }

    private static (string, RowPlot) BelowThirty(List<Row> rows) =>
        (
            $"{rows.Count} hours of {rows.Select(row => row["patient_id"]).Distinct().Count()} patients lie below 30 mL with their whole "
                + $"95 % interval; those below 0 mean that fluid stayed behind, leaked, or that a volume is wrong.",
            new RowPlot(
                "Hours that were below 30 mL whatever the doubts",
                "corrected output of the hour with its 95 % interval",
                "mL in the hour",
                -260,
                60,
                [.. rows.Select(row => $"{row["patient_id"]}, {row.Clock("started_at_local")}")]
            )
                .WithRoomAbove()
                .Line(0)
                .Line(30, "30 mL")
                .Ranges(rows.Select(Interval), RowPlot.Pale, "95 % interval")
                .Points(rows.Select(row => row.Number("corrected_ml")), MarkerType.Circle, RowPlot.Blue, "corrected output")
        );

    private static (string, RowPlot) WithoutNumber(List<Row> rows)
    {
        var (known, all) = (rows.First(row => row["reason"] == "has a number"), rows.Sum(row => row.Number("intervals")));
        return (
            $"{known["intervals"]} of {all} intervals have a number; each of the others says why it has none, and none counts as 0.",
            new RowPlot(
                "Closed intervals with and without a number",
                "by the reason that is given where there is none",
                "intervals",
                0,
                28,
                [.. rows.Select(row => row["reason"] is "has a number" ? row["reason"] : $"none: {row["reason"]}")]
            )
                .Bars(rows.Select(row => row.Number("intervals")), RowPlot.Blue)
                .Words(rows.Select(row => (row.Number("intervals")!.Value, (string?)$"{row["intervals"]} ({row["percent"]} %)")))
        );
    }

    private static (string, RowPlot) Acknowledged(List<Row> rows)
    {
        var (raised, seen) = (rows.Sum(row => row.Number("raised")), rows.Sum(row => row.Number("seen")));
        return (
            $"Of {raised} flags somebody said of {seen} that it was seen; how long the others took is not known, and not nought.",
            new RowPlot(
                "Flags raised, and seen by somebody",
                "behind each the median time to that",
                "flags",
                0,
                13,
                Names(rows, "flag"),
                step: 2
            )
                .Bars(rows.Select(row => row.Number("raised")), RowPlot.Pale, "raised")
                .Bars(
                    rows.Select(row => row.Number("seen") is > 0 and var some ? (double?)some : null),
                    RowPlot.Blue,
                    "of these, seen",
                    part: 0.5
                )
                .Words(rows.Select(row => (row.Number("raised")!.Value, row.Number("median_minutes") is { } m ? $"{m:0.#} min" : null)))
                .Words(
                    rows.Select(row => (row.Number("raised")!.Value, row.Number("median_minutes") is null ? "time not known" : null)),
                    unknown: true
                )
        );
    }

    private static (string, RowPlot) Litres(List<Row> rows)
    {
        var most = rows.MaxBy(row => row.Number("litres") ?? 0)!;
        return (
            $"Most ran into {most["patient_id"]}, {most["litres"]} L; a bag that nobody read makes its day not known.",
            new RowPlot(
                "Irrigant that ran in, by patient and day",
                "amounts as charted, on the ward's own day",
                "L",
                0,
                6.5,
                [.. rows.Select(row => $"{row["patient_id"]}, {row["local_day"]}")]
            )
                .Bars(rows.Select(row => row.Number("litres")), RowPlot.Blue)
                .Words(rows.Select(row => (row.Number("litres") ?? 0, row["litres"] == "∅" ? null : $"{row["litres"]} L")))
                .Words(rows.Select(row => (0.0, row["litres"] == "∅" ? NotKnown : null)), unknown: true)
        );
    }

    private static (string, RowPlot) TakenBack(List<Row> rows)
    {
        var flags = rows.GroupBy(row => row["flag"]).OrderByDescending(flag => flag.Count()).ThenBy(flag => flag.Key).ToList();
        return (
            $"{rows.Count} flags were taken back because late or corrected entries show that they were never so, most often "
                + $"{flags[0].Key}; each names the entries that show it.",
            new RowPlot(
                "Flags that were taken back",
                "by the time at which they were said to stand",
                "time on the ward's clock, from the evening of 14 to the morning of 15 March",
                8,
                20,
                [.. flags.Select(flag => flag.Key)],
                step: 1
            )
                .Points(
                    flags.Index().SelectMany(flag => flag.Item.Select(row => (flag.Index, AfterNoon(row["raised_at_local"])))),
                    MarkerType.Diamond,
                    RowPlot.Blue
                )
                .ByTheClock()
        );

        static double AfterNoon(string at) =>
            (
                DateTime.ParseExact(at[..19], "yyyy-MM-dd'T'HH:mm:ss", CultureInfo.InvariantCulture) - new DateTime(2026, 3, 14, 12, 0, 0)
            ).TotalHours;
    }

    private static (string, RowPlot) Covered(List<Row> rows)
    {
        var most = rows.MaxBy(row => row.Number("covered_h"))!;
        return (
            $"No day of the {rows.Count} is covered for more than {most.Number("covered_h"):0.#} of its 24 h: what stands beside is of "
                + "that part alone, and no day's output.",
            new RowPlot(
                "How much of a day is covered by readings",
                "beside it the output of that part, never of the day",
                "hours covered of 24",
                0,
                24,
                [.. rows.Select(row => $"{row["patient_id"]}, {row["local_day"]}")],
                step: 4
            )
                .Bars(rows.Select(row => row.Number("covered_h")), RowPlot.Blue)
                .Words(
                    rows.Select(row =>
                        (
                            row.Number("covered_h")!.Value,
                            row.Number("partial_ml") is { } ml ? $"{ml:#,0} mL in {row.Number("covered_h"):0.#} h" : null
                        )
                    )
                )
                .Words(
                    rows.Select(row =>
                        (row.Number("covered_h")!.Value, row["partial_ml"] == "∅" ? $"{NotKnown}: {row["absent_reason"]}" : null)
                    ),
                    unknown: true
                )
        );
    }

    /// <summary>How far a count may be off by chance: the exact interval of a Poisson mean (Garwood, Biometrika 1936;28:437).</summary>
    private static (string, RowPlot) Obstruction(List<Row> rows)
    {
        var (flags, hours) = (rows[0].Number("flags")!.Value, rows[0].Number("irrigated_h")!.Value);
        var low = ChiSquared.InvCDF(2 * flags, 0.025) / 2 * 1000 / hours;
        var high = ChiSquared.InvCDF((2 * flags) + 2, 0.975) / 2 * 1000 / hours;
        return (
            $"{flags} flags in {hours} h are {rows[0]["per_1000_h"]} in 1,000 h, and so few that {low:0} to {high:0} would fit: "
                + "ask it of a year.",
            new RowPlot(
                "Flags of obstruction in 1,000 hours of irrigation",
                $"{flags} flags in {hours} h; 95 % interval of such a count (Garwood)",
                "flags in 1,000 h",
                0,
                400,
                ["no-drainage, outflow-deficit"]
            )
                .Ranges([(low, high)], RowPlot.Pale, "95 % interval")
                .Points([rows[0].Number("per_1000_h")], MarkerType.Circle, RowPlot.Blue, "as counted")
        );
    }

    private static (string, RowPlot) BelowZero(List<Row> rows) =>
        (
            $"{rows.Count(row => row["is_certain"] == "True")} of {rows.Count} intervals below 0 lie there with their whole 95 % interval: "
                + $"fluid stayed behind, leaked, or a volume is wrong, and somebody has to look.",
            new RowPlot(
                "Output below 0",
                "closed intervals, with the 95 % interval round the best estimate",
                "mL",
                -560,
                60,
                [.. rows.Select(row => $"{row["patient_id"]}, {row.Clock("started_at_local")} to {row["ended_at_local"][11..16]}")]
            )
                .Line(0)
                .Ranges(rows.Select(Interval), RowPlot.Pale, "95 % interval")
                .Points(rows.Select(row => row.Number("corrected_ml")), MarkerType.Circle, RowPlot.Blue, "corrected output")
        );

    private static (string, RowPlot) Criteria(List<Row> rows)
    {
        var untold = rows.Where(row => row["answer"] is "not-evaluable" or "indeterminate").Sum(row => row.Number("patients"));
        return (
            $"{untold} of {rows.Sum(row => row.Number("patients"))} answers are that nobody can tell; where one is met by the mean, every "
                + $"hour may still be open. A criterion is never a diagnosis.",
            new RowPlot(
                "Urine-output criteria by their answers",
                "by the mean over the window; behind it, by every hour",
                "patients",
                0,
                5,
                [.. rows.Select(row => $"{row["criterion"]}: {row["answer"]}")],
                step: 1
            )
                .Bars(rows.Select(row => row["answer"] == "not-evaluable" ? null : row.Number("patients")), RowPlot.Blue, "answered")
                .Bars(
                    rows.Select(row => row["answer"] == "not-evaluable" ? row.Number("patients") : null),
                    RowPlot.Orange,
                    "could not be told"
                )
                .Words(
                    rows.Select(row =>
                    {
                        var said = row["every_hour_answer"] == "∅" ? null : $"every hour: {row["every_hour_answer"]}";
                        return (row.Number("patients")!.Value, said);
                    })
                )
        );
    }

    private static (double?, double?) Interval(Row row) => (row.Number("interval95_low_ml"), row.Number("interval95_high_ml"));

    private static IReadOnlyList<string> Names(List<Row> rows, string column) => [.. rows.Select(row => row[column])];
}
