using Irrigation.Episodes;

namespace IrrigationFhir.Subscriptions;

/// <summary>The lines <c>Name: value</c> of a channel. Their values are secrets.</summary>
internal static class HeaderLines
{
    /// <summary>Stands in for a value, towards a reader; from a writer it keeps the value that is stored.</summary>
    public const string Withheld = "(withheld)";

    /// <summary>Most lines of one subscription. Our judgement.</summary>
    public const int Most = 20;

    /// <summary>Longest line, in characters. Our judgement: servers commonly refuse more than 8 KiB of all headers together.</summary>
    public const int Longest = 4096;

    // RFC 9110, 7.6.1 (meant for the next hop only), 7.2 and 8 (settled by the request itself), 10.1.1; 10.2.1 and 8.8.2 and RFC 9111, 5.3
    // (of an answer, not of a request).
    private static readonly HashSet<string> NotYours = new(StringComparer.OrdinalIgnoreCase)
    {
        "Connection",
        "Keep-Alive",
        "Proxy-Authenticate",
        "Proxy-Authorization",
        "Proxy-Connection",
        "TE",
        "Trailer",
        "Transfer-Encoding",
        "Upgrade",
        "Host",
        "Expect",
        "Allow",
        "Expires",
        "Last-Modified",
    };

    /// <summary>The lines to store, with the values that were withheld put back.</summary>
    /// <param name="lines">As sent.</param>
    /// <param name="known">As stored; empty for a new subscription.</param>
    /// <param name="where">Path of the list.</param>
    public static (IReadOnlyList<string> Lines, IReadOnlyList<EntryProblem> Problems) Read(
        IReadOnlyList<string?> lines,
        IReadOnlyList<string> known,
        string where
    )
    {
        if (lines.Count > Most)
            return ([], [SubscriptionProblem.Header(where, $"{lines.Count} lines", $"at most {Most}")]);
        List<string> read = [];
        List<EntryProblem> problems = [];
        var left = known.ToList();
        for (var i = 0; i < lines.Count; i++)
        {
            var at = $"{where}[{i}]";
            if (Parse(lines[i] ?? "") is not var (name, value))
            {
                problems.Add(
                    SubscriptionProblem.Header(
                        at,
                        "a line that is no header",
                        $"Name: value, with a token as name (RFC 9110), printable ASCII as value, at most {Longest} characters"
                    )
                );
            }
            else if (NotYours.Contains(name) || name.StartsWith("Content-", StringComparison.OrdinalIgnoreCase))
            {
                problems.Add(
                    SubscriptionProblem.Header(
                        at,
                        $"header '{SubscriptionProblem.Clip(name)}'",
                        "a header that the delivery does not settle itself: "
                            + "not Host, Expect, Content-…, nor one meant for a single connection"
                    )
                );
            }
            else if (value != Withheld)
            {
                read.Add($"{name}: {value}");
            }
            else if (left.FindIndex(line => NameOf(line).Equals(name, StringComparison.OrdinalIgnoreCase)) is var stored and >= 0)
            {
                read.Add(left[stored]);
                left.RemoveAt(stored);
            }
            else
            {
                problems.Add(SubscriptionProblem.Header(at, $"'{Withheld}' for a header of which no value is stored", "the value itself"));
            }
        }

        return (read, problems);
    }

    /// <summary>A line as a reader may see it.</summary>
    public static string Shown(string line) => $"{NameOf(line)}: {Withheld}";

    private static string NameOf(string line) => line[..line.IndexOf(':', StringComparison.Ordinal)];

    private static (string Name, string Value)? Parse(string line)
    {
        if (line.Length > Longest || line.IndexOf(':', StringComparison.Ordinal) is not (var colon and > 0))
            return null;
        var (name, value) = (line[..colon], line[(colon + 1)..].Trim(' ', '\t'));
        var token = name.All(c => char.IsAsciiLetterOrDigit(c) || "!#$%&'*+-.^_`|~".Contains(c, StringComparison.Ordinal));
        return token && value.Length > 0 && value.All(c => c is '\t' or (>= ' ' and <= '~')) ? (name, value) : null;
    }
}
