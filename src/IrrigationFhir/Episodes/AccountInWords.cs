using System.Globalization;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Flags;
using Irrigation.Measures;
using NodaTime;

namespace IrrigationFhir.Episodes;

/// <summary>What a ward round asks for, in the sentences of a handover: totals, looks over time, conditions for weaning.</summary>
internal static class AccountInWords
{
    private const int MostDays = 3;

    /// <summary>Irrigant and output since the start, and of the latest days.</summary>
    public static IEnumerable<string> Of(Bedside bedside)
    {
        yield return Says("Since the start", Account.Of(bedside.Balance, bedside.Log.Frame.Start, bedside.At), bedside);
        var days = Account.Days(bedside.Balance, bedside.At, MostDays).ToList();
        foreach (var day in days.Count > 1 ? days : [])
        {
            var date = day.Start.InZone(bedside.Log.Frame.Zone).Date;
            yield return Says($"On {date.ToString("d MMM", CultureInfo.InvariantCulture)}", day, bedside);
        }
    }

    /// <summary>How long the drainage looked how.</summary>
    public static string Of(LooksAlike alike) => $"{Words.Capital(alike.Says)} for {Length(alike.Lasted)}, seen {Often(alike.Looks)}.";

    /// <summary>A condition for weaning.</summary>
    public static string Of(WeaningCondition condition) => $"For weaning, {condition.Name}: {Told(condition.Holds)}, {condition.Says}.";

    /// <summary>Whether a condition holds.</summary>
    public static string Told(bool? holds) =>
        holds switch
        {
            true => "holds",
            false => "does not hold",
            null => "cannot be told",
        };

    /// <summary>How many times.</summary>
    public static string Often(int count) => count == 1 ? "once" : string.Create(CultureInfo.InvariantCulture, $"{count} times");

    private static string Says(string when, Account account, Bedside bedside)
    {
        var irrigant = account is { Irrigant: { } ran, Irrigant95: { } doubt }
            ? $"{ran.Charted} of irrigant as charted, best estimate {ran.Best} (95 % {AsRead.Range(doubt)})"
            : $"irrigant not known. {Words.Capital(account.AbsentSays!)}";
        var made = account.Output.Output switch
        {
            null => $"Urine not known: {Words.Of(account.Output.Absent ?? AbsentReason.NotCovered)}",
            { BestEstimate: { } best, Interval95: { } range } known => $"Urine {known.Headline} as charted, best estimate {best.Value} "
                + $"(95 % {AsRead.Range(range)}), up to {bedside.Said(account.Output.End)}",
            { } known => $"Urine {known.Headline} as charted, and how far off that may be cannot be told",
        };
        return $"{when}: {irrigant}. {made}.";
    }

    private static string Length(Duration time)
    {
        var minutes = (long)Math.Round(time.TotalMinutes, MidpointRounding.AwayFromZero);
        return minutes < 60 ? $"{minutes} min"
            : minutes % 60 == 0 ? $"{minutes / 60} h"
            : $"{minutes / 60} h {minutes % 60} min";
    }
}
