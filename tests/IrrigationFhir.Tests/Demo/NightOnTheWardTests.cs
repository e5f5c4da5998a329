using System.Globalization;
using IrrigationFhir.Demo;

namespace IrrigationFhir.Tests.Demo;

/// <summary>What somebody sees who runs the demo for the first time.</summary>
public class NightOnTheWardTests
{
    /// <summary>
    /// First bag: 3000 − 40 in the tubing = 2960 mL; charted 600 mL/h × 2.5 h + 800 × 1 h 50 min = 2966.7, so its flow is taken times
    /// 0.99775. Second bag: 3000 − 700 left = 2300 mL; charted 800 × 1 h 20 min + 800 × 1.5 h = 2266.7, so times 1.01471.
    /// </summary>
    public static TheoryData<string, decimal, decimal, decimal, string> Intervals =>
        new()
        {
            { "21:00  22:00", 598.7m, 650, 51.3m, "final" }, // 650 − 600·0.99775
            { "22:00  01:20", 2361.3m, 2430, 68.7m, "corrected" }, // 2430 − (2960 − 598.7); charted 3430 at first
            { "01:20  02:30", 947.1m, 400, 62.9m, "final" }, // 400 − 933.3·1.01471 + (630 − 20) held back behind the clot
            { "02:30  02:55", 185.3m, 815, 19.7m, "final" }, // 815 − (133.3·1.01471 + 50 by syringe) + (20 − 630)
            { "02:55  04:30", 1217.6m, 1235, 77.4m, "amended" }, // 1235 − 1200·1.01471 + 60 leaked, charted three hours late
            { "04:30  06:00", 60, 135, 75, "final" }, // 135 − 60 that dwelt behind a clamp
            { "06:00  07:00", 0, 55, 55, "final" }, // irrigation over: what drains is urine
        };

    [Fact]
    public async Task The_night_is_printed_with_its_numbers_and_leaves_nothing_behind()
    {
        var before = Directory.GetDirectories(Path.GetTempPath(), "irrigationfhir-demo-*");
        using var output = new StringWriter(CultureInfo.InvariantCulture);
        Assert.Equal(0, await NightOnTheWard.Run(["--once"], output, TextWriter.Null));
        var lines = output.ToString().Split('\n');

        Assert.StartsWith("Ward 7 of the invented Lantern Quay Hospital", lines[0], StringComparison.Ordinal);
        Assert.All(
            Intervals,
            row =>
            {
                var (times, into, outOf, corrected, status) = (
                    (string)row[0],
                    (decimal)row[1],
                    (decimal)row[2],
                    (decimal)row[3],
                    (string)row[4]
                );
                var shown = Cells(lines.First(line => line.Contains(times, StringComparison.Ordinal)));
                Assert.Equal((Shown(into), Shown(outOf), Shown(corrected), status), (shown[0], shown[1], shown[3], shown[4]));
            }
        );

        // The night: 5370 in and 5720 out, so 350 by the simple sum, and 60 leaked: 410. The bladder held 20 mL at both ends.
        Assert.Equal(
            ["5370", "5720", "350", "410", "corrected"],
            Cells(lines.First(line => line.Contains("19:00  07:00", StringComparison.Ordinal))).Take(5)
        );
        Assert.Contains(lines, line => line.Contains("corrected-urine-output", StringComparison.Ordinal));
        // The example subscriber, a process of its own: from the clots at 23:25 to the leak that was charted three hours late.
        var told = lines
            .SkipWhile(line => !line.StartsWith("What the example subscriber was told", StringComparison.Ordinal))
            .Skip(1)
            .TakeWhile(line => line.Trim().Length > 0)
            .Select(line => line.Trim())
            .ToList();
        Assert.Equal("subscribed", told[0]);
        Assert.Equal(Enumerable.Range(1, told.Count - 1).Select(n => $"{n}:"), told.Skip(1).Select(line => line.Split(' ')[0]));
        Assert.Contains(told, line => line.Contains("active Clots since 2026-03-14T23:25:00+01:00 (", StringComparison.Ordinal));
        Assert.Contains(told, line => line.Contains("active Outflow deficit since 2026-03-15T02:30:00+01:00 (", StringComparison.Ordinal));
        Assert.Contains(told, line => line.Contains("active Late entry since 2026-03-15T06:15:00+01:00 (", StringComparison.Ordinal));

        Assert.Contains("Local protocol, the order and licensed practice prevail.", output.ToString(), StringComparison.Ordinal);
        Assert.Equal(before, Directory.GetDirectories(Path.GetTempPath(), "irrigationfhir-demo-*"));
    }

    [Fact]
    public async Task A_day_of_irrigations_by_syringe_has_its_runs_and_tells_the_short_return()
    {
        using var output = new StringWriter(CultureInfo.InvariantCulture);
        Assert.Equal(0, await NightOnTheWard.Run(["--story", "day", "--once"], output, TextWriter.Null));
        var lines = output.ToString().Split('\n');
        Assert.StartsWith("Ward 7 of the invented Lantern Quay Hospital, day of 16 March", lines[0], StringComparison.Ordinal);

        // Four runs, and the episode that they are part of.
        Assert.Contains(
            lines,
            line => line.Trim().Split(' ', StringSplitOptions.RemoveEmptyEntries) is ["5", "Procedure", "bladder-irrigation"]
        );
        Assert.Contains(lines, line => line.Contains("active Return is short since 2026-03-16T12:05:00+01:00 (", StringComparison.Ordinal));
        Assert.Contains(lines, line => line.Contains("who needs a person first", StringComparison.Ordinal));
    }

    [Theory]
    [InlineData("--story")]
    [InlineData("--story", "evening")]
    [InlineData("day")]
    public async Task Another_story_is_refused(params string[] args)
    {
        using var errors = new StringWriter(CultureInfo.InvariantCulture);
        Assert.Equal(2, await NightOnTheWard.Run(args, TextWriter.Null, errors));
        Assert.Contains("night, day", errors.ToString(), StringComparison.Ordinal);
    }

    /// <summary>in, out, simple, corrected, status, and the caveats' words.</summary>
    private static string[] Cells(string line) =>
        [.. line.Split('|').Skip(1).SelectMany(part => part.Split(' ', StringSplitOptions.RemoveEmptyEntries))];

    private static string Shown(decimal value) => value.ToString("0.#", CultureInfo.InvariantCulture);
}
