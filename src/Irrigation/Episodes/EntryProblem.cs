using System.Globalization;
using NodaTime;
using NodaTime.Text;

namespace Irrigation.Episodes;

/// <summary>Why an entry was not taken: what was seen, what is expected, and where. All texts stand in this file.</summary>
/// <param name="Code">Stable; software may rely on it.</param>
/// <param name="Where">An expression path into what was sent, e.g. <c>entries[3].volume</c>.</param>
/// <param name="Saw">What was seen.</param>
/// <param name="Expected">What is expected.</param>
public sealed record EntryProblem(string Code, string Where, string Saw, string Expected)
{
    private static readonly InstantPattern Times = InstantPattern.ExtendedIso;

    /// <summary>The whole sentence.</summary>
    public string Text => $"{Where}: {Saw}; {Expected}";

    /// <summary>A kind that does not exist.</summary>
    public static EntryProblem UnknownKind(string where, string kind) =>
        new(
            "unknown-kind",
            where,
            $"kind '{Clip(kind)}'",
            $"one of {string.Join(", ", EntryKinds.All.Where(k => k != "entered-in-error"))}"
        );

    /// <summary>An entry that only the service writes.</summary>
    public static EntryProblem WrittenHere(string where, string saw) =>
        new("written-here", where, $"'{Clip(saw)}'", "an entry of the ward: what turned out about flags is written by the service alone");

    /// <summary>A property that has to be there.</summary>
    public static EntryProblem Missing(string where, string expected) => new("missing", where, "nothing", expected);

    /// <summary>A property of the wrong JSON type.</summary>
    public static EntryProblem WrongType(string where, string saw, string expected) => new("wrong-type", where, saw, expected);

    /// <summary>A property that the kind does not have: a typing error would otherwise lose a measurement.</summary>
    public static EntryProblem UnknownProperty(string where, string kind) =>
        new("unknown-property", where, "a property that is not read", $"only properties of {kind}");

    /// <summary>A property named twice.</summary>
    public static EntryProblem RepeatedProperty(string where) =>
        new("repeated-property", where, "the same property twice", "each property once");

    /// <summary>A word outside a closed list.</summary>
    public static EntryProblem UnknownWord(string where, string saw, IEnumerable<string> expected) =>
        new("unknown-word", where, $"'{Clip(saw)}'", $"one of {string.Join(", ", expected)}");

    /// <summary>A quantity without its unit.</summary>
    public static EntryProblem MissingUnit(string where, IEnumerable<string> expected) =>
        new("missing-unit", where, "no unit", $"a UCUM unit: {string.Join(", ", expected)}");

    /// <summary>A unit outside the closed list for its place.</summary>
    public static EntryProblem WrongUnit(string where, string unit, IEnumerable<string> expected)
    {
        var hint = unit switch
        {
            "ML" => " (in UCUM that is a megalitre)",
            "cc" or "CC" or "ccm" => " (not a UCUM unit)",
            "gtt/min" or "gtts/min" or "drops/min" or "drop/min" => " (chart {drop}/min)",
            "gtt/mL" or "gtts/mL" or "drops/mL" or "drop/mL" => " (chart {drop}/mL)",
            "[drp]/min" => " (UCUM fixes [drp] at 1/20 mL; chart {drop}/min with the set's drop factor)",
            _ => "",
        };
        return new("wrong-unit", where, $"unit '{Clip(unit)}'{hint}", $"one of {string.Join(", ", expected)}");
    }

    /// <summary>A measured quantity below 0.</summary>
    public static EntryProblem Negative(string where, string saw) =>
        new("negative", where, saw, "0 or more: only a derived output may be negative");

    /// <summary>A number outside its range.</summary>
    public static EntryProblem OutOfRange(string where, string saw, string expected) => new("out-of-range", where, saw, expected);

    /// <summary>A text that is empty, too long or holds a control character.</summary>
    public static EntryProblem BadText(string where, string saw, int longest) =>
        new(
            "bad-text",
            where,
            saw,
            string.Create(CultureInfo.InvariantCulture, $"1 to {longest} characters, none of them a control character")
        );

    /// <summary>A time that is no instant.</summary>
    public static EntryProblem BadTime(string where, string saw) =>
        new("bad-time", where, $"'{Clip(saw)}'", "a date and time with seconds and offset, like 2026-03-14T22:05:00+01:00 (RFC 3339)");

    /// <summary>A period that does not run forwards.</summary>
    public static EntryProblem EndBeforeStart(string where, Instant from, Instant at) =>
        new("end-before-start", where, $"from {Times.Format(from)} to {Times.Format(at)}", "an end after the start");

    /// <summary>A time that has not come yet.</summary>
    public static EntryProblem InFuture(string where, Instant at, Instant now, Duration tolerance) =>
        new(
            "time-in-future",
            where,
            Times.Format(at),
            string.Create(CultureInfo.InvariantCulture, $"not later than {Times.Format(now)} plus {tolerance.TotalMinutes:0.#} min")
        );

    /// <summary>Fluid before the episode began.</summary>
    public static EntryProblem BeforeStart(string where, Instant at, Instant start) =>
        new(
            "before-episode-start",
            where,
            Times.Format(at),
            $"fluid at or after the episode's start, {Times.Format(start)}; if it began earlier, amend the episode's start"
        );

    /// <summary>Fluid after the episode ended.</summary>
    public static EntryProblem AfterEnd(string where, Instant at, Instant end) =>
        new(
            "after-episode-end",
            where,
            Times.Format(at),
            $"fluid at or before the episode's end, {Times.Format(end)}; if it goes on, amend the episode's end"
        );

    /// <summary>The same id twice in one request.</summary>
    public static EntryProblem SameIdTwice(string where, EntryKey key, int first) =>
        new(
            "same-id-twice",
            where,
            string.Create(
                CultureInfo.InvariantCulture,
                $"id '{Clip(key.Id)}' of source '{Clip(key.Source)}', which entries[{first}] has already"
            ),
            "each id once in a request; send a correction as a request of its own"
        );

    /// <summary>A bag hung where one hangs.</summary>
    public static EntryProblem OverlappingBags(string where, string line, Instant since) =>
        new(
            "overlapping-bags",
            where,
            $"a bag hung on line '{Clip(line)}', where one has been hanging since {Times.Format(since)}",
            "bag-taken-down with what was left in it first, or another line"
        );

    /// <summary>Two totals of one line for the same time.</summary>
    public static EntryProblem OverlappingTotals(string where, string line, Instant since, Instant until) =>
        new(
            "overlapping-totals",
            where,
            $"a total for line '{Clip(line)}' that overlaps the one charted from {Times.Format(since)} to {Times.Format(until)}",
            "totals of one line that follow one another"
        );

    /// <summary>Drainage in the time of a clamp.</summary>
    public static EntryProblem DrainageWhileClamped(string where, Instant since) =>
        new(
            "drainage-while-clamped",
            where,
            $"drainage added while the drain has been clamped since {Times.Format(since)}, after a reading in that time",
            "drain-released first, or the reading's true time"
        );

    /// <summary>An entry in error that names no entry.</summary>
    public static EntryProblem NothingToRetract(string where, EntryKey key) =>
        new(
            "nothing-to-retract",
            where,
            $"status entered-in-error for id '{Clip(key.Id)}' of source '{Clip(key.Source)}'",
            "the time of the entry ('at') too, where the entry itself has not arrived"
        );

    /// <summary>A confirmation of what the log does not hold.</summary>
    public static EntryProblem UnknownReading(string where, EntryKey reading) =>
        new(
            "unknown-reading",
            where,
            $"id '{Clip(reading.Id)}' of source '{Clip(reading.Source)}', which no entry that stands has",
            "source and id of the reading that is confirmed, as it was sent; it may come in the same request"
        );

    /// <summary>Two properties of which each says the same in its own way.</summary>
    public static EntryProblem OneOrOther(string where, string saw, string expected) => new("one-or-other", where, saw, expected);

    /// <summary>An acknowledgement or a call about a flag that was never there.</summary>
    public static EntryProblem UnknownFlag(string where, string saw) =>
        new("unknown-flag", where, $"'{Clip(saw)}'", "a flag of this episode that stands or stood: its code, or the id of its Flag");

    private static string Clip(string text)
    {
        var shown = new string([.. text.Take(64).Select(c => char.IsControl(c) ? '?' : c)]);
        return text.Length > 64 ? shown + "…" : shown;
    }
}
