using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>F3. Irrigant runs and the drainage was not read for long: nobody can tell whether it comes back.</summary>
/// <remarks>
/// Up to <see cref="FlagSettings.FastFlow"/> the hourly check of the teaching texts; above it the shorter time, or the time in which the
/// distension limit would be reached, for a fixed time is far too late at wide-open flow (src/Irrigation/README.md, section 1.10). For a
/// bladder with a smaller limit than an adult's a smaller flow is fast, in the same proportion; our judgement. A change of bag is no new
/// beginning. Once the reading is overdue by a part of its time, the flag grows with what ran in unseen: that is what a blocked bladder
/// would hold. A container that is taken away is as good as read, for it is read later; where it is not for long, that is told. A reading
/// that comes after a hole in the charting and shows next to nothing does not end it: what drained meanwhile nobody knows.
/// </remarks>
public static class DrainageReadingStale
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "drainage-reading-stale",
            "Drainage not read",
            FlagCategory.Safety,
            "teaching texts (hourly); the times for fast flow are our judgement",
            Cautions.MissingIsNotZero,
            Judge
        );

    /// <summary>When the drainage is to be read, or was; null where nothing runs, or the drain is clamped.</summary>
    public static Instant? DueAt(Bedside bedside) =>
        bedside.Clamped is null && UnreadSince(bedside) is { } since ? since + Limit(bedside) : null;

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.Clamped is not null)
            return new Finding.NotRaised();
        var finding = Overdue(bedside);
        if (finding is Finding.Raised)
            return finding;
        return DryTime.OverHole(bedside) is { } hole
            ? OverHole(bedside, hole) with
            {
                LookAgain = finding.LookAgain,
            }
            : NotClosed(bedside, finding);
    }

    /// <summary>A container is not read, so that nobody knows what drained: told where that lasts as long as a hole.</summary>
    private static Finding NotClosed(Bedside bedside, Finding otherwise)
    {
        if (!bedside.Runs || Awaited.Says(bedside) is not { } says)
            return otherwise;
        var due = bedside.Balance.LastClosing + bedside.Settings.HoleAfter;
        if (bedside.At < due)
            return otherwise with { LookAgain = new[] { otherwise.LookAgain, due }.Min() };
        var limit = FormattableString.Invariant($"{bedside.Settings.HoleAfter.TotalMinutes:0.#} min");
        var closed = bedside.Said(bedside.Balance.LastClosing);
        return new Finding.Raised(FlagPriority.Medium, $"{says}. What drained since {closed} is not known (limit {limit}).")
        {
            LookAgain = otherwise.LookAgain,
        };
    }

    /// <summary>The reading came at last and shows next to nothing: blocked, or emptied meanwhile and not charted.</summary>
    private static Finding.Raised OverHole(Bedside bedside, ClosedInterval hole)
    {
        var span = $"from {bedside.Said(hole.Start)} to {bedside.Said(hole.End)}";
        return new(
            FlagPriority.Medium,
            $"the drainage was not read {span} while {hole.Instilled} ran in, and what was then read shows {hole.Drained}. "
                + "It may have been emptied and not charted, or nothing drains. Look at the patient, and read it again."
        )
        {
            Evidence = [Evidence.Of(hole)],
        };
    }

    private static Finding Overdue(Bedside bedside)
    {
        if (UnreadSince(bedside) is not { } since)
            return new Finding.NotRaised();
        var read = bedside.Log[Channel.BladderOutput].LastAtOrBefore(bedside.At);
        var limit = Limit(bedside);
        var due = since + limit;
        if (bedside.At < due)
            return new Finding.NotRaised { LookAgain = due };
        var flow = bedside.Inflow is { } known ? $"at {known}" : "at a flow that nobody charted";
        var (priority, grew, next) = Grown(bedside, since, limit);
        return new Finding.Raised(
            priority,
            FormattableString.Invariant($"irrigant runs {flow} and the drainage was not read since {bedside.Said(since)} ")
                + FormattableString.Invariant($"(limit {limit.TotalMinutes:0.#} min){grew}.")
        )
        {
            Evidence = read is null ? [] : [Evidence.Of(read)],
            LookAgain = next,
        };
    }

    /// <summary>Since when irrigant runs and the drainage was not read; null where none runs.</summary>
    private static Instant? UnreadSince(Bedside bedside)
    {
        var read = bedside.Log[Channel.BladderOutput].LastAtOrBefore(bedside.At);
        var told = new[] { read?.At, Awaited.TakenAwayAt(bedside) }.Max();
        if (bedside.RunningSince(told ?? Instant.MinValue) is not { } since)
            return null;
        if (told > since)
            since = told.Value;
        return bedside.Log[Channel.Clamp].LastAtOrBefore(bedside.At) is DrainReleased released && released.At > since ? released.At : since;
    }

    /// <summary>How soon somebody should look by what ran in unseen, what to say of it, and when that may change.</summary>
    private static (FlagPriority Priority, string Says, Instant? Next) Grown(Bedside bedside, Instant since, Duration limit)
    {
        var grows = since + limit + (limit * (double)bedside.Settings.StaleGrowsAfter);
        if (bedside.At < grows)
            return (FlagPriority.Medium, "", grows);
        var (warning, most) = (OutflowDeficit.LimitsFor(bedside).Warning, bedside.DistensionLimit);
        if (bedside.Balance.InstilledBetween(since, bedside.At).Amount?.Charted is not { } unseen)
            return (FlagPriority.High, ". How much ran in meanwhile nobody can tell: look at the patient first", null);
        if (unseen >= most.Limit)
        {
            var full = $"{most.Limit} and more ran in meanwhile. That is all the bladder is to hold ({most.Whence})";
            return (FlagPriority.Urgent, $". {full}. Look at the patient first", null);
        }

        // By the flow alone; a bag that has run dry delivers no more, and the step never comes. No sooner than a sixtieth of the time that
        // has passed: or a rest of a drop would be waited for second by second.
        var step = unseen < warning ? warning : most.Limit;
        Instant? next =
            bedside.Inflow is { } flow && Forecasts.TimeFor(step - unseen, flow) is { } time
                ? bedside.At + Duration.Max(time, (bedside.At - since) / 60)
                : null;
        return unseen < warning
            ? (FlagPriority.Medium, "", next)
            : (FlagPriority.High, $". {warning} and more ran in meanwhile, which a blocked bladder would hold", next);
    }

    private static Duration Limit(Bedside bedside)
    {
        var settings = bedside.Settings;
        var (limit, adult) = (bedside.DistensionLimit.Limit, bedside.Limits.Forecasts.DistensionLimit);
        var fastFrom =
            limit < adult
                ? settings.FastFlow.MillilitresPerHour * limit.Millilitres / adult.Millilitres
                : settings.FastFlow.MillilitresPerHour;
        if (!(bedside.Inflow?.MillilitresPerHour > fastFrom))
            return settings.StaleAfter;
        var fast = Duration.Min(settings.StaleAfter, settings.StaleAfterFast);
        return Forecasts.TimeFor(limit, bedside.Filling!.Value) is { } time ? Duration.Min(fast, time) : fast;
    }
}
