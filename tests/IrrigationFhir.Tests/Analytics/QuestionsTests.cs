using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>The ten questions of <c>fhir-examples/analytics</c>, asked of the files by DuckDB; the answers stand beside them.</summary>
public class QuestionsTests(StoriesTold told) : IClassFixture<StoriesTold>
{
    private const string Folder = "fhir-examples/analytics/questions";

    [Fact]
    public async Task Every_question_is_answered_as_it_says()
    {
        var (tables, _) = await told.Export("parquet");
        var questions = Repo.Files(Folder, "*.sql");
        Assert.Equal(10, questions.Count);
        foreach (var question in questions)
        {
            var text = Repo.Read(question);
            Assert.StartsWith("-- ", text, StringComparison.Ordinal);
            var answer = Duck.Table($"set file_search_path = '{tables}'; {text}");
            Assert.True(answer.Count > 1 || question.Contains("/02-", StringComparison.Ordinal), $"{question} finds nothing");
            Repo.Agrees(Path.ChangeExtension(question, ".txt"), string.Join('\n', answer) + "\n");
        }
    }

    /// <summary>By hand, of the night: 5720 drained − 5370 in + 60 leaked = 410; as charted 5720 − 5370 = 350.</summary>
    [Fact]
    public async Task The_night_is_410_mL_by_the_balance_of_its_intervals_and_350_as_charted()
    {
        var (tables, _) = await told.Export("parquet");
        Assert.Equal(
            "410.000000|350.000000",
            Duck.Row(
                $"""
                select sum(corrected_ml)::text, sum(simple_ml)::text from '{tables}/output_intervals-*.parquet'
                where patient_id = 'P-0417' and status <> 'entered-in-error'
                """
            )
        );
    }
}
