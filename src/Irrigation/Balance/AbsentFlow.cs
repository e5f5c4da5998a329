using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>
/// A time in which a bag hung on a line and nobody charted how fast it ran: where an amount is not known, this is why.
/// </summary>
/// <param name="Line">The line.</param>
/// <param name="Start">From when.</param>
/// <param name="End">Until when; after the start.</param>
public sealed record AbsentFlow(string Line, Instant Start, Instant End)
{
    /// <summary>All such times between two instants, line by line and in order.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="start">From when.</param>
    /// <param name="end">Until when.</param>
    /// <remarks>Whether a reading of the bag tells the amount all the same is another question: ask where it is not known.</remarks>
    public static IEnumerable<AbsentFlow> Between(FluidBalance balance, Instant start, Instant end)
    {
        foreach (var line in Channel.Lines(balance.Log))
        {
            AbsentFlow? open = null;
            var edges = balance.Log[Channel.Line(line)].After(start, end).Select(entry => entry.At).Prepend(start).Distinct();
            foreach (var from in edges.Where(at => at < end))
            {
                var absent = balance.BagHangs(line, from) && balance.FlowAt(line, from) is null;
                if (absent)
                {
                    open ??= new(line, from, end);
                }
                else if (open is not null)
                {
                    yield return open with
                    {
                        End = from,
                    };
                    open = null;
                }
            }

            if (open is not null)
                yield return open;
        }
    }

    /// <summary>In words, with its minutes.</summary>
    /// <param name="said">How a moment is said.</param>
    public string Says(Func<Instant, string> said) =>
        FormattableString.Invariant(
            $"no flow is charted on line {Line} from {said(Start)} to {said(End)} ({(End - Start).TotalMinutes:0} min)"
        );

    /// <summary>Several in words; null where there is none.</summary>
    /// <param name="absent">Those times.</param>
    /// <param name="said">How a moment is said.</param>
    public static string? Says(IEnumerable<AbsentFlow> absent, Func<Instant, string> said) =>
        string.Join(". ", absent.Select((one, place) => place == 0 ? one.Says(said) : Words.Capital(one.Says(said))))
            is { Length: > 0 } says
            ? says
            : null;
}

/// <summary>Why an interval has no number.</summary>
public static class AbsentWords
{
    /// <summary>Why an interval has no number, in words; null where it has one.</summary>
    /// <param name="interval">The interval.</param>
    /// <param name="balance">The balance that it is of.</param>
    public static string? AbsentSays(this ClosedInterval interval, FluidBalance balance)
    {
        if (interval.Absent is not { } absent)
            return null;
        string Said(Instant at) => balance.Log.Frame.Said(at, interval.End);
        var flow = interval.Instilled is null ? AbsentFlow.Says(AbsentFlow.Between(balance, interval.Start, interval.End), Said) : null;
        return flow is null ? Words.Of(absent) : $"{Words.Of(absent)}. {Words.Capital(flow)}";
    }
}
