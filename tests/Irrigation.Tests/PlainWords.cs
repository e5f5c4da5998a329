using System.Text.RegularExpressions;
using Irrigation.Episodes;
using Irrigation.Flags;

namespace Irrigation.Tests;

/// <summary>
/// What no sentence for a nurse may have: a code, decimals beyond what is read, more than 25 words, the same sentence twice, or a phrase
/// that only whoever wrote the program understands.
/// </summary>
internal static partial class PlainWords
{
    private const int MostWords = 25;

    /// <summary>Every code of ours that has a hyphen.</summary>
    private static readonly HashSet<string> CodesOfOurs =
    [
        .. typeof(Slug)
            .Assembly.GetTypes()
            .Where(type => type.IsEnum)
            .SelectMany(type => Enum.GetValues(type).Cast<Enum>())
            .Select(member => Slug.Of(member))
            .Concat(FlagRules.All.Select(rule => rule.Slug))
            .Concat(EntryKinds.All)
            .Concat(["bag-empty", "container-full", "distension-limit", "irrigation-due", "intermittent-manual", "instillation-dwell"])
            .Concat(["neonatal-kdigo", "low-hourly-output", "not-read", "drainage-minus-irrigant", "irrigant-from-rate"])
            .Where(slug => slug.Contains('-', StringComparison.Ordinal)),
    ];

    /// <summary>What is written with a hyphen in plain English, or is somebody's text.</summary>
    private static readonly HashSet<string> English =
    [
        "read-back",
        "three-way",
        "two-way",
        "post-obstructive",
        "urine-output",
        "neomycin-polymyxin",
        "half-normal",
        "in-vitro",
        "long-term",
    ];

    private static readonly string[] Never =
    [
        "its doubts are not known",
        "that met it",
        "nobody looked before",
        "taken as empty for",
        "its value is not known",
        "not evaluable",
        "do not clamp the drainage, and call for help. Check the order", // what an overrun dwell was told
    ];

    private static readonly string[] Spelling = [" mL mL", "  ", "..", " .", ";.", ",.", ".;", ": :"];

    /// <summary>What is wrong with a text; empty where nothing is.</summary>
    /// <param name="text">The text: lines, each of sentences.</param>
    /// <param name="listed">Whether a semicolon parts the items of a list, each a sentence of its own.</param>
    /// <param name="most">The most words of a sentence.</param>
    public static IEnumerable<string> Faults(string text, bool listed = false, int most = MostWords)
    {
        foreach (var fault in Codes(text))
            yield return fault;
        foreach (Match decimals in BareDecimals().Matches(text))
            yield return $"decimals '{decimals.Value}' in: {Round(text, decimals.Index)}";
        foreach (var phrase in Spelling.Where(phrase => text.Contains(phrase, StringComparison.Ordinal)))
            yield return $"'{phrase}' in: {text}";
        var sentences = text.Split('\n').SelectMany(line => Sentences(line, listed)).ToList();
        foreach (var sentence in sentences.Where(sentence => Words(sentence) > most))
            yield return $"{Words(sentence)} words: {sentence}";
        if (text.EndsWith("Confirm or correct each.", StringComparison.Ordinal))
            yield break; // of several readings the same may be doubted
        foreach (
            var twice in sentences
                .Where(sentence => sentence.EndsWith('.') && Words(sentence) > 4)
                .GroupBy(sentence => sentence)
                .Where(same => same.Count() > 1)
        )
            yield return $"said twice: {twice.Key}";
    }

    /// <summary>Codes, and phrases that are never said, in a text whose lines are not all sentences.</summary>
    public static IEnumerable<string> Codes(string text)
    {
        foreach (Match word in Hyphened().Matches(text))
        {
            if (CodesOfOurs.Contains(word.Value) || !English.Contains(word.Value))
                yield return $"code '{word.Value}' in: {Round(text, word.Index)}";
        }

        foreach (var phrase in Never.Where(phrase => text.Contains(phrase, StringComparison.Ordinal)))
            yield return $"'{phrase}' in: {Round(text, text.IndexOf(phrase, StringComparison.Ordinal))}";
    }

    private static string Round(string text, int at) => text[Math.Max(0, at - 40)..Math.Min(text.Length, at + 60)];

    /// <summary>A number with its unit is one word, and so is a range of them.</summary>
    private static int Words(string sentence) => Quantity().Replace(sentence, "1").Split(' ', StringSplitOptions.RemoveEmptyEntries).Length;

    private static IEnumerable<string> Sentences(string line, bool listed) =>
        (listed ? ListEnd() : SentenceEnd()).Split(line).Select(sentence => sentence.Trim()).Where(sentence => sentence.Length > 0);

    [GeneratedRegex(@"(?<![\w'-])[a-z]+(-[a-z]+)+(?![\w-])")]
    private static partial Regex Hyphened();

    /// <summary>From 10 mL on no decimals, from 1,000 mL on tens and a comma.</summary>
    [GeneratedRegex(@"(?<![\d.,])(\d{2,}\.\d+|\d{4,})( to -?[\d.,]+)? mL(?!/)|\d\.\d{2,} mL(/h)?(?!/)|\d\.\d{3,}")]
    private static partial Regex BareDecimals();

    [GeneratedRegex(@"(?<=[.?!])\s+(?=[A-Z0-9])")]
    private static partial Regex SentenceEnd();

    [GeneratedRegex(@"(?<=[.?!;])\s+")]
    private static partial Regex ListEnd();

    [GeneratedRegex(@"-?[\d.,]+( to -?[\d.,]+)?( (mL/kg/h|mL/h|mL|min|h|kg|g|%|drops/min))?(?=[ .,;:)]|$)")]
    private static partial Regex Quantity();
}
