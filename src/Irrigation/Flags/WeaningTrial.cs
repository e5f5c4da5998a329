using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>How a trial began.</summary>
public enum TrialKind
{
    /// <summary>Nothing ran any more on any line: the flow was set to 0, or the last bag was taken down and none hung.</summary>
    IrrigationStopped,

    /// <summary>The drain was clamped, and no order in force named a dwell.</summary>
    DrainClamped,
}

/// <summary>What ended the time over which a trial was observed.</summary>
public enum TrialEnd
{
    /// <summary>Irrigant ran again, or was given by syringe.</summary>
    IrrigationResumed,

    /// <summary>A washout was performed.</summary>
    WashoutPerformed,

    /// <summary>The clamp was released.</summary>
    DrainReleased,

    /// <summary>The catheter was removed.</summary>
    CatheterRemoved,

    /// <summary>The episode ended.</summary>
    EpisodeEnded,
}

/// <summary>What came back after the irrigation was stopped.</summary>
/// <param name="At">When.</param>
/// <param name="Says">What, in words.</param>
public sealed record Recurrence(Instant At, string Says);

/// <summary>
/// A trial to do without irrigation or drainage, and what followed (src/Irrigation/README.md, section 7): stop time, observation interval,
/// recurrence, void volume, residual.
/// </summary>
/// <remarks>
/// <para>Nobody charts a trial as such. What is taken for one: nothing runs, or the drain is clamped without an ordered dwell, for at least
/// <see cref="FlagSettings.TrialFrom"/>. A shorter stop is a change of bag, a shorter clamp a sample.</para>
/// <para>It is observed until the irrigation is resumed, a washout is performed, the clamp is released, the catheter is removed, or the
/// episode ends. What the patient does without a catheter comes after that: recurrence, void and residual are looked for until irrigant
/// runs again or a catheter is inserted.</para>
/// <para>What is not known is null, and a text beside it says why.</para>
/// </remarks>
/// <param name="Kind">How it began.</param>
/// <param name="Stopped">When it began.</param>
/// <param name="Until">Up to when it was observed; the moment of asking while it goes on.</param>
/// <param name="EndedBy">What ended the observation; null while it goes on.</param>
/// <param name="Recurrence">
/// The first sign that it did not hold: bloodier drainage on the same scale, clots, an outflow flag, irrigant again; null where there was
/// none.
/// </param>
/// <param name="NoRecurrence">What that none rests on; null where there was one.</param>
/// <param name="FirstVoid">The first urine voided after it began; null where none is charted.</param>
/// <param name="NoVoid">Why there is none; null where there is one.</param>
/// <param name="Residual">The first scan after that void and before the next: the post-void residual; null where there is none.</param>
/// <param name="NoResidual">Why there is none; null where there is one.</param>
public sealed record WeaningTrial(
    TrialKind Kind,
    Instant Stopped,
    Instant Until,
    TrialEnd? EndedBy,
    Recurrence? Recurrence,
    string? NoRecurrence,
    UrineCollected? FirstVoid,
    string? NoVoid,
    BladderScanned? Residual,
    string? NoResidual
)
{
    /// <summary>Flags that say that the outflow is in doubt.</summary>
    private static readonly string[] OutflowFlags = ["outflow-deficit", "no-drainage"];

    /// <summary>The trials that began after a moment, in their order.</summary>
    public static IEnumerable<WeaningTrial> Of(FlagRecord record, Instant from)
    {
        var bedside = record.Now;
        var upTo = bedside.Log.Frame.End is { } end ? Instant.Min(end, bedside.At) : bedside.At;
        return Stops(bedside, from, upTo)
            .Select(stop => (TrialKind.IrrigationStopped, stop))
            .Concat(Clamps(bedside, from, upTo).Select(clamp => (TrialKind.DrainClamped, clamp)))
            .Select(began => Of(record, bedside, began.Item1, began.Item2, upTo))
            .OfType<WeaningTrial>()
            .OrderBy(trial => trial.Stopped)
            .ThenBy(trial => trial.Kind);
    }

    /// <summary>In one sentence, for a person.</summary>
    public string Says(Bedside bedside)
    {
        var what = Kind switch
        {
            TrialKind.IrrigationStopped => "Irrigation stopped",
            TrialKind.DrainClamped => "Drain clamped without an ordered dwell",
        };
        var until = EndedBy is { } end ? $"observed until {bedside.Said(Until)} ({Words.Of(end)})" : "observed since";
        var recurrence = Recurrence is { } back
            ? $"recurrence at {bedside.Said(back.At)}: {back.Says}"
            : $"no recurrence known: {NoRecurrence}";
        var voided = FirstVoid is { } first ? $"first void {first.Amount} at {bedside.Said(first.At)}" : $"first void not known ({NoVoid})";
        var residual = Residual is { } scan ? $"residual {scan.Held} at {bedside.Said(scan.At)}" : $"residual not known ({NoResidual})";
        return $"{what} at {bedside.Said(Stopped)}, {Words.Sentences([until, recurrence, voided, residual])}.";
    }

    private static WeaningTrial? Of(FlagRecord record, Bedside bedside, TrialKind kind, Instant stopped, Instant upTo)
    {
        var log = bedside.Log;
        var resumed = Resumed(bedside, stopped, upTo);
        var released =
            kind == TrialKind.DrainClamped ? log[Channel.Clamp].After(stopped, upTo).FirstOrDefault(e => e is DrainReleased)?.At : null;
        var lasted = (kind == TrialKind.DrainClamped ? released : resumed) ?? upTo;
        if (lasted - stopped < bedside.Settings.TrialFrom)
            return null;

        (Instant? At, TrialEnd By)[] ends =
        [
            (resumed, TrialEnd.IrrigationResumed),
            (First<WashoutPerformed>(log, stopped, upTo)?.At, TrialEnd.WashoutPerformed),
            (released, TrialEnd.DrainReleased),
            (First<CatheterRemoved>(log, stopped, upTo)?.At, TrialEnd.CatheterRemoved),
            (log.Frame.End <= upTo ? upTo : null, TrialEnd.EpisodeEnded),
        ];
        var ended = ends.Where(e => e.At is not null)
            .OrderBy(e => e.At)
            .Select(e => ((Instant At, TrialEnd By)?)(e.At!.Value, e.By))
            .FirstOrDefault();
        var follow = Instant.Min(resumed ?? upTo, First<CatheterInserted>(log, stopped, upTo)?.At ?? upTo);

        var (recurrence, noRecurrence) = RecurrenceOf(record, bedside, stopped, follow, resumed);
        var (voided, noVoid) = VoidOf(log, stopped, follow);
        var (residual, noResidual) = ResidualOf(log, voided, follow);
        return new(kind, stopped, ended?.At ?? upTo, ended?.By, recurrence, noRecurrence, voided, noVoid, residual, noResidual);
    }

    /// <summary>Moments after one and up to another at which nothing ran any more, and something had run until then.</summary>
    private static IEnumerable<Instant> Stops(Bedside bedside, Instant from, Instant upTo) =>
        Moments(bedside, from, upTo).Where(at => !Runs(bedside, at) && Runs(bedside, at - Duration.Epsilon));

    /// <summary>Moments at which the drain was clamped that was open, and no order named a dwell.</summary>
    private static IEnumerable<Instant> Clamps(Bedside bedside, Instant from, Instant upTo) =>
        bedside
            .Log[Channel.Clamp]
            .After(from, upTo)
            .OfType<DrainClamped>()
            .Where(clamp => bedside.Log[Channel.Clamp].LastBefore(clamp.At) is not DrainClamped)
            .Where(clamp => Orders.InForce(bedside.Log, clamp.At)?.Terms.Dwell is null)
            .Select(clamp => clamp.At);

    /// <summary>When irrigant first ran, or was given, after a moment; null where it did not.</summary>
    private static Instant? Resumed(Bedside bedside, Instant stopped, Instant upTo)
    {
        foreach (var at in Moments(bedside, stopped, upTo))
        {
            if (
                bedside.Lines.Any(line => bedside.Log[Channel.Line(line)].After(at - Duration.Epsilon, at).Any(e => e is IrrigantInstilled))
            )
                return at;
            if (Runs(bedside, at) && !Runs(bedside, at - Duration.Epsilon))
                return at;
        }

        return null;
    }

    private static IEnumerable<Instant> Moments(Bedside bedside, Instant after, Instant upTo) =>
        bedside.Lines.SelectMany(line => bedside.Log[Channel.Line(line)].After(after, upTo)).Select(entry => entry.At).Distinct().Order();

    /// <summary>Whether irrigant runs, or may for all that is charted.</summary>
    private static bool Runs(Bedside bedside, Instant at) =>
        bedside.Lines.Any(line => !(bedside.Balance.FlowAt(line, at) <= FlowRate.Stopped));

    private static T? First<T>(EpisodeLog log, Instant after, Instant upTo)
        where T : Entry => log[Slug.Of(typeof(T).Name)].After(after, upTo).FirstOrDefault() as T;

    private static (Recurrence? Recurrence, string? None) RecurrenceOf(
        FlagRecord record,
        Bedside bedside,
        Instant stopped,
        Instant follow,
        Instant? resumed
    )
    {
        var looks = bedside.Log[Slug.Of(nameof(DrainageAppearance))];
        var (before, since) = (
            looks.LastAtOrBefore(stopped) as DrainageAppearance,
            looks.After(stopped, follow).Cast<DrainageAppearance>().ToList()
        );
        var back = new List<Recurrence>();
        if (since.Find(look => Looked.Clots(look) > 0 || (Comparable(look, before) && look.Grade > before!.Grade)) is { } worse)
        {
            back.Add(
                new(
                    worse.At,
                    before is null
                        ? Looked.Says(worse)
                        : $"{Looked.Says(worse)}. Before, at {bedside.Said(before.At)}: {Looked.Says(before)}"
                )
            );
        }

        back.AddRange(
            record
                .Ended.Concat(record.Standing)
                .Where(flag => OutflowFlags.Contains(flag.Slug) && flag.Start > stopped && flag.Start <= follow)
                .Select(flag => new Recurrence(flag.Start, $"{FlagRules.InWords(flag.Slug)} was raised"))
        );
        if (resumed <= follow)
            back.Add(new(resumed.Value, "irrigant again"));
        if (back.Count > 0)
            return (back.MinBy(sign => sign.At), null);

        if (since.Count == 0)
            return (null, "nobody charted what the drainage looked like since");
        var compared = since.Exists(look => Comparable(look, before)) ? "" : ". No grade before and since on one scale";
        var times = since.Count == 1 ? "once" : FormattableString.Invariant($"{since.Count} times");
        return (null, $"looked {times}. Last at {bedside.Said(since[^1].At)}: {Looked.Says(since[^1])}{compared}");
    }

    private static bool Comparable(DrainageAppearance look, DrainageAppearance? before) =>
        look is { Grade: not null, Scale: { } scale } && before is { Grade: not null } && before.Scale == scale;

    private static (UrineCollected? First, string? None) VoidOf(EpisodeLog log, Instant stopped, Instant follow) =>
        Voids(log, stopped, follow).FirstOrDefault() is { } first ? (first, null) : (null, "no void is charted since");

    private static (BladderScanned? Scan, string? None) ResidualOf(EpisodeLog log, UrineCollected? voided, Instant follow)
    {
        if (voided is null)
            return (null, "without a void there is no residual after it");
        var next = Voids(log, voided.At, follow).FirstOrDefault();
        if (log[Channel.Scan].After(voided.At, follow).FirstOrDefault() is BladderScanned scan && !(scan.At >= next?.At))
            return (scan, null);
        if (log[Channel.Scan].LastAtOrBefore(voided.At)?.At == voided.At)
            return (null, "scanned at the very time of the void: whether before or after it is not told");
        return (null, next is null ? "the bladder was not scanned after it" : "the bladder was not scanned before the next void");
    }

    private static IEnumerable<UrineCollected> Voids(EpisodeLog log, Instant after, Instant upTo) =>
        log[Channel.BladderUrine].After(after, upTo).OfType<UrineCollected>().Where(urine => urine.Route == UrineRoute.Void);
}
