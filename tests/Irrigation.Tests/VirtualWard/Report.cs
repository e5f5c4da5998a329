using System.Collections.Concurrent;
using System.Globalization;
using System.Text;
using Xunit.Abstractions;

namespace Irrigation.Tests.VirtualWard;

/// <summary>What was measured, as tables: on the test's output, and in the file that <c>VIRTUAL_WARD_REPORT</c> names.</summary>
internal static class Report
{
    private static readonly ConcurrentDictionary<int, string> Sections = new();
    private static readonly Lock Writing = new();

    /// <summary>Writes a table; in the file, in its place among the others.</summary>
    public static void Write(ITestOutputHelper output, int place, string title, string head, IEnumerable<string> rows)
    {
        var columns = head.Count(c => c == '|') + 1;
        var table = new StringBuilder($"## {title}\n\n| {head} |\n|{string.Concat(Enumerable.Repeat(" --- |", columns))}\n");
        foreach (var row in rows)
            table.Append("| ").Append(row).Append(" |\n");
        output.WriteLine(table.ToString());
        Sections[place] = table.ToString();
        if (Environment.GetEnvironmentVariable("VIRTUAL_WARD_REPORT") is not { Length: > 0 } path)
            return;
        lock (Writing)
        {
            File.WriteAllText(path, "# The virtual ward\n\n" + string.Join("\n", Sections.OrderBy(s => s.Key).Select(s => s.Value)));
        }
    }

    /// <summary>The cells of a row: numbers with no more digits than the draw is worth.</summary>
    public static string Row(params object?[] cells) =>
        string.Join(
            " | ",
            cells.Select(cell =>
                cell switch
                {
                    double.NaN => "",
                    double.PositiveInfinity => "never",
                    double number => number.ToString(Math.Abs(number) < 100 ? "0.0" : "0", CultureInfo.InvariantCulture),
                    _ => cell?.ToString(),
                }
            )
        );

    /// <summary>A share in per cent; not a number where there were none to share.</summary>
    public static double Share(int part, int whole) => whole == 0 ? double.NaN : 100.0 * part / whole;

    /// <summary>How often each came, the commonest first.</summary>
    public static string Counted(IEnumerable<string> words) =>
        string.Join(
            ", ",
            words
                .GroupBy(word => word)
                .OrderByDescending(word => word.Count())
                .ThenBy(word => word.Key, StringComparer.Ordinal)
                .Select(word => $"{word.Key} {word.Count()}")
        );
}
