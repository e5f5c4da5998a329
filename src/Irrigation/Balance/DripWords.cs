using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>A drip in words, one sentence a line, for somebody beside the chamber.</summary>
public static class DripWords
{
    /// <summary>What is to be known beside a drip, in words.</summary>
    /// <param name="caveat">The caveat.</param>
    /// <param name="set">The drop factor that it is about; null where it is not known.</param>
    public static string Of(DripCaveat caveat, DropFactor? set) =>
        caveat switch
        {
            DripCaveat.DropFactorNotListed =>
                $"A set of {set} is none of the usual ones ({string.Join(", ", DropFactor.Listed)} drops/mL): look at the packet again",
            DripCaveat.DropFactorUnknown =>
                "Drops a minute cannot be told: no drop factor is charted; it is printed on the packet of the giving set",
            DripCaveat.LessThanADrop => "Less than half a drop a minute: no whole number of drops makes it, and 0 would stop it",
        };

    /// <summary>All of it.</summary>
    /// <param name="drip">The drip.</param>
    /// <param name="wanted">How the sentence of the wanted flow begins, e.g. <c>Ordered</c>; may be empty.</param>
    /// <param name="counted">When the drops were counted, e.g. <c> at 22:05</c>; empty where that goes without saying.</param>
    public static IEnumerable<string> Of(Drip drip, string wanted, string counted = "")
    {
        if (!drip.ToCount.IsEmpty)
            yield return $"{wanted} {string.Join(", ", drip.ToCount.Select(count => ToCount(count, drip.Set)))}.".TrimStart();
        if (drip.Counted is { } count)
        {
            yield return $"Counted {Number(count.Drops)} drops/min{counted} by a set of {drip.Set}: {count.Rate}, with 95 % certainty "
                + $"{Number(count.Low.MillilitresPerHour)} to {count.High}.";
        }

        if (drip.Deviation is { } off)
            yield return $"{Deviation(off)}.";
        if (drip.Lasts is { } lasts)
            yield return $"{lasts.Volume} last {Length(lasts.Time)}{Range(lasts)}.";
        foreach (var caveat in drip.Caveats)
            yield return $"{Of(caveat, drip.Set)}.";
    }

    private static string ToCount(DropsToCount count, DropFactor? set)
    {
        var end = count.End switch
        {
            WantedEnd.One => "",
            WantedEnd.AtLeast => "at least ",
            WantedEnd.AtMost => "at most ",
        };
        return count is { Drops: { } drops, Exact: { } exact, Gives: { } gives }
            ? $"{end}{count.Rate}: {Number(drops)} drops/min by a set of {set}"
                + (drops == exact ? "" : $" ({Number(exact)} before rounding; {Number(drops)} make {gives})")
            : $"{end}{count.Rate}";
    }

    private static string Deviation(DripDeviation off)
    {
        var amount = FlowRate.FromMillilitresPerHour(Math.Abs(off.By.MillilitresPerHour));
        var percent = off.Percent is { } part ? $", {Number(Math.Abs(part))} %" : "";
        var (low, high) = (Number(off.Low.MillilitresPerHour), Number(off.High.MillilitresPerHour));
        var interval = $"with 95 % certainty {low} to {high} mL/h";
        var says =
            off.By > FlowRate.Stopped ? $"That is {amount} more than wanted{percent} ({interval})"
            : off.By < FlowRate.Stopped ? $"That is {amount} less than wanted{percent} ({interval})"
            : "That is as wanted";
        return off.Answer switch
        {
            DripAnswer.Slower => $"{says}: slower, beyond the doubt of drops",
            DripAnswer.Faster => $"{says}: faster, beyond the doubt of drops",
            DripAnswer.AsWanted => says,
            DripAnswer.Indeterminate => off.By == FlowRate.Stopped
                ? $"{says}, as far as drops can tell"
                : $"{says}: the two cannot be told apart by drops",
        };
    }

    private static string Range(BagLasts lasts) =>
        lasts switch
        {
            { Shortest: null } => "",
            { Shortest: { } least, Longest: { } most } => $", with 95 % certainty {Length(least)} to {Length(most)}",
            { Shortest: { } least } => $", with 95 % certainty {Length(least)} or longer",
        };

    private static string Length(Duration time)
    {
        var minutes = (long)Math.Round(time.TotalMinutes, MidpointRounding.AwayFromZero);
        return minutes < 60 ? $"{minutes} min"
            : minutes % 60 == 0 ? $"{minutes / 60} h"
            : $"{minutes / 60} h {minutes % 60} min";
    }

    private static string Number(decimal value) => FormattableString.Invariant($"{value:0.#}").Replace('-', '−');
}
