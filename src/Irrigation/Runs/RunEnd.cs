using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Runs;

/// <summary>Whether a run is over, and what came of it.</summary>
internal static class RunEnd
{
    /// <summary>The run with its outcome.</summary>
    /// <param name="run">The run.</param>
    /// <param name="balance">The balance it was found in.</param>
    /// <param name="next">When the next run began; null where none did.</param>
    /// <param name="busy">The last of it; null while it dwells.</param>
    /// <param name="asOf">The moment of asking.</param>
    public static RunOfCycles Of(RunOfCycles run, FluidBalance balance, Instant? next, Instant? busy, Instant asOf)
    {
        var until = Instant.Min(asOf, Instant.Max(run.End, busy ?? asOf) + balance.Settings.RunGap);
        if (next < until)
            until = next.Value - Duration.Epsilon;
        var stop = In<IrrigationStopped>(balance.Log, run, until);
        var washout = In<WashoutPerformed>(balance.Log, run, until);
        var over =
            stop is not null
            || washout is not null
            || next <= asOf
            || balance.Log.Frame.End <= asOf
            || asOf >= busy + balance.Settings.RunGap;
        var (outcome, why) = over ? Outcome(run, stop, washout) : (RunOutcome.Going, "it goes on");
        Instant[] lasts = [run.End, stop?.At ?? run.End, washout?.At ?? run.End];
        return run with
        {
            Outcome = outcome,
            Why = why,
            Stopped = stop,
            End = lasts.Max(),
            OverAt = over ? null : busy + balance.Settings.RunGap,
        };
    }

    /// <summary>The last entry of a kind in the time of a run, or that names it.</summary>
    private static T? In<T>(EpisodeLog log, RunOfCycles run, Instant until)
        where T : Entry =>
        log[Slug.Of(typeof(T).Name)]
            .After(run.Start - Duration.Epsilon, until)
            .Cast<T>()
            .LastOrDefault(entry => entry.Header.Run is null || entry.Header.Run == run.Name);

    private static (RunOutcome Outcome, string Why) Outcome(RunOfCycles run, IrrigationStopped? stop, WashoutPerformed? washout)
    {
        switch (stop?.Why)
        {
            case StopReason.TargetReached:
                return (RunOutcome.TargetReached, "the target was reached, by the entry that ended it");
            case { } why and not StopReason.CyclesDone:
                var note = stop.Header.Note is { } said ? $": {said}" : "";
                return (RunOutcome.EndedOtherwise, $"ended {Words.Of(why)}{note}");
        }

        if (washout?.Cleared is { } cleared)
            return cleared
                ? (RunOutcome.TargetReached, "the washout cleared the catheter, as charted")
                : (RunOutcome.TargetNotReached, "the washout did not clear the catheter, as charted");
        if (run.Order?.Target is { } target)
            return (RunOutcome.NotSaid, $"nobody said whether the order's target was reached: {target}");
        return run.LastLook switch
        {
            { Clots: "none", Sediment: false } => (RunOutcome.TargetReached, "the last return was free of clots and sediment"),
            { Clots: "few" or "many" } => (RunOutcome.TargetNotReached, "there were clots in the last return"),
            { Sediment: true } => (RunOutcome.TargetNotReached, "there was sediment in the last return"),
            null => (RunOutcome.NotSaid, "nobody charted what the last return looked like"),
            _ => (RunOutcome.NotSaid, "whether there were clots and sediment in the last return was not charted in full"),
        };
    }
}
