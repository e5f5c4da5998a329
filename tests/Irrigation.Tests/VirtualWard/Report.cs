using System.Collections.Concurrent;
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
        foreach (var row in rows) table.Append("| ").Append(row).Append(" |\n");
        output.WriteLine(table.ToString());
        Sections[place] = table.ToString();
        if (Environment.GetEnvironmentVariable("VIRTUAL_WARD_REPORT") is not { Length: > 0 } path) return;
        lock (Writing)
        {
            File.WriteAllText(path, "# The virtual ward\n\n" + string.Join("\n", Sections.OrderBy(s => s.Key).Select(s => s.Value)));
        }
    }

    /// <summary>A share in per cent; nothing where there were none to share.</summary>
    public static string Share(int part, int whole) => whole == 0 ? "" : FormattableString.Invariant($"{100.0 * part / whole:0.0}");
}
