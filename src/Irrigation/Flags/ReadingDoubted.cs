using Irrigation.Balance;
using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>F17. A number that follows from a reading cannot be: the reading is to be confirmed or corrected.</summary>
/// <remarks>
/// <para>What was typed may be plausible and what follows from it not (<see cref="Doubt"/>). Such a reading stays in every sum and out of
/// every decision until somebody confirms it (an entry <c>reading-confirmed</c>) or corrects it: this asks for exactly that.</para>
/// <para>It ends with the confirmation. Of a reading that is corrected it was never so. One that nobody looks at is asked for as long as
/// windows reach back to it (<see cref="FlagSettings.DoubtStands"/>).</para>
/// </remarks>
public static class ReadingDoubted
{
    private const int MostNamed = 5;

    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "reading-doubted",
            "Reading to be confirmed",
            FlagCategory.DataQuality,
            "what a body, a container and a scale can do (clinical reference 2.7, 3.1 and 8); the limits are our judgement",
            Cautions.MissingIsNotZero,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        var doubted = bedside.Balance.Streams.SelectMany(stream => Recent(bedside, stream)).OrderBy(d => d.Interval.End).ToList();
        if (doubted.Count == 0)
            return new Finding.NotRaised();

        var readings = doubted
            .GroupBy(d => d.Doubt.Reading)
            .Select(of => Says(bedside, of.Key, of.Select(d => d.Doubt.Says).Distinct()))
            .ToList();
        var named = readings.TakeLast(MostNamed).Reverse();
        var more = readings.Count > MostNamed ? FormattableString.Invariant($" And {readings.Count - MostNamed} more.") : "";
        return new Finding.Raised(
            FlagPriority.Medium,
            $"{string.Join(' ', named)}{more} Confirm or correct {(readings.Count == 1 ? "it" : "each")}."
        )
        {
            Evidence = [.. doubted.Select(d => d.Doubt.Reading).Distinct().Select(key => new Evidence(key, null))],
            LookAgain = doubted[0].Interval.End + bedside.Settings.DoubtStands,
        };
    }

    private static IEnumerable<(ClosedInterval Interval, Doubt Doubt)> Recent(Bedside bedside, string stream)
    {
        var closed = bedside.Balance[stream];
        for (var i = closed.Count - 1; i >= 0 && closed[i].End > bedside.At - bedside.Settings.DoubtStands; i--)
        {
            foreach (var doubt in closed[i].Doubts)
                yield return (closed[i], doubt);
        }
    }

    private static string Says(Bedside bedside, EntryKey key, IEnumerable<string> doubts)
    {
        var reading = bedside.Log.Current(key)?.Entry is { } entry ? DoubtfulEntry.Named(bedside, entry) : "a reading";
        var said = doubts.Select(doubt => Words.Capital(doubt.TrimEnd('.')));
        return Words.Capital($"{reading}. {string.Join(". ", said)}.");
    }
}
