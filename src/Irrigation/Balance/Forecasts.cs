using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>What would come when, if things go on as they are.</summary>
/// <param name="Kind">What: bag-empty, container-full, distension-limit.</param>
/// <param name="What">Whose: the line, the drainage container, or <see cref="FluidBalance.Bladder"/>.</param>
/// <param name="In">How long from the moment of asking, 0 where it has come already; null where it cannot be told.</param>
/// <param name="At">When; null where it cannot be told.</param>
/// <param name="Assumption">What it rests on, or why it cannot be told.</param>
public sealed record Forecast(string Kind, string What, Duration? In, Instant? At, string Assumption);

/// <summary>How fast urine is taken to be made.</summary>
/// <param name="Rate">0 mL/h or more.</param>
/// <param name="Whence">What it rests on.</param>
public sealed record UrineForecast(FlowRate Rate, string Whence);

/// <summary>Forecasts. Each is a division, and each says what it rests on.</summary>
/// <remarks>
/// Given from what was read lately only (<see cref="ForecastSettings.ReadingReach"/>): of a bag that nobody looked at for a day nobody
/// knows when it is full.
/// </remarks>
public static class Forecasts
{
    private static readonly Duration Longest = Duration.FromDays(365);
    private static readonly Duration Reach = ForecastSettings.Default.ReadingReach;

    /// <summary>
    /// Every forecast that can be asked for: each line with a hanging bag, each drainage container in use, the bladder. None once the
    /// episode has ended.
    /// </summary>
    /// <param name="balance">The balance.</param>
    /// <param name="years">The patient's completed years; null where unknown.</param>
    /// <param name="capacity">The patient's own bladder capacity; null where not charted.</param>
    /// <param name="asOf">The moment of asking.</param>
    /// <param name="settings">Capacities, limits and the urine to assume.</param>
    public static ImmutableArray<Forecast> Of(FluidBalance balance, int? years, Volume? capacity, Instant asOf, ForecastSettings settings)
    {
        if (balance.Log.Frame.End <= asOf || asOf < balance.Log.Frame.Start)
            return [];
        var urine = Urine(balance, asOf, settings, years);
        var reach = settings.ReadingReach;
        return
        [
            .. Channel.Lines(balance.Log).Where(line => balance.BagHangs(line, asOf)).Select(line => BagEmpty(balance, line, asOf, reach)),
            .. InUse(balance, asOf)
                .Select(container => ContainerFull(balance, container, settings.DrainageBag, settings.FillTo, urine, asOf, reach)),
            DistensionLimit(balance, settings.LimitFor(years, capacity), urine, asOf, reach, settings.EmptyReach),
        ];
    }

    /// <summary>Time until a volume has run at a rate; null where nothing runs, or so little that it would take more than a year.</summary>
    /// <remarks>src/Irrigation/README.md, sections 1.9 and 1.10: what is left, or what there is room for, over the flow.</remarks>
    public static Duration? TimeFor(Volume volume, FlowRate rate)
    {
        if (volume <= Volume.Zero)
            return Duration.Zero;
        if (volume > rate.Over(Longest))
            return null;
        return Duration.FromNanoseconds((long)(volume.Millilitres * Elapsed.PerHour / rate.MillilitresPerHour));
    }

    /// <summary>
    /// How fast urine is made: by the best estimate of the latest closed interval of the bladder, or as assumed. Never below 0.
    /// </summary>
    /// <remarks>An interval that is doubted, or ended too long ago, tells nothing: a slip must not fill a bag within the hour.</remarks>
    /// <param name="balance">The balance.</param>
    /// <param name="asOf">The moment of asking.</param>
    /// <param name="settings">What is assumed, and how long a reading tells.</param>
    /// <param name="years">The patient's completed years, for a child makes less; null where unknown.</param>
    public static UrineForecast Urine(FluidBalance balance, Instant asOf, ForecastSettings settings, int? years = null)
    {
        var latest = balance[FluidBalance.Bladder].LastOrDefault(i => i.End <= asOf);
        if (latest is null)
            return Assumed("none measured yet");
        var span = $"{At(balance, latest.Start, asOf)} to {At(balance, latest.End, asOf)}";
        if (!latest.Doubts.IsEmpty)
            return Assumed($"a reading of {span} is doubted");
        if (latest.Output?.BestEstimate is not { } best)
            return Assumed($"{span} has no best estimate");
        if (asOf - latest.End > settings.ReadingReach)
            return Assumed($"none measured since {At(balance, latest.End, asOf)}");
        var rate = FlowRate.Of(best.Value, latest.Length);
        return rate < FlowRate.Stopped
            ? new(FlowRate.Stopped, $"urine taken as 0 mL/h, for the best estimate of {span} is below 0")
            : new(rate, $"urine {rate}, the best estimate of {span}");

        UrineForecast Assumed(string why)
        {
            var hourly = settings.ForBodyOf(years, Volume.FromMillilitres(settings.AssumedUrine.MillilitresPerHour));
            var assumed = FlowRate.FromMillilitresPerHour(hourly.Millilitres);
            var whose = assumed < settings.AssumedUrine ? $" for a child of {years} years" : "";
            return new(assumed, $"urine {assumed}, assumed{whose}: {why}");
        }
    }

    /// <summary>When the bag of a line is empty.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="line">The line.</param>
    /// <param name="asOf">The moment of asking.</param>
    /// <param name="reach">How long what was read foretells something; the default where null.</param>
    /// <remarks>Whoever hangs or reads a bag, or sets its flow, looked at it.</remarks>
    public static Forecast BagEmpty(FluidBalance balance, string line, Instant asOf, Duration? reach = null)
    {
        const string kind = "bag-empty";
        if (!balance.BagHangs(line, asOf))
            return Untold(kind, line, "no bag hangs on the line");
        if (balance.LeftInBag(line, asOf) is not { } left)
            return Untold(kind, line, "a pump delivers what hangs, and its counter does not say what is left in the bag");
        if (balance.FlowAt(line, asOf) is not { } flow)
            return Untold(kind, line, "no flow is charted for the line");
        if (LastLook(balance, line, asOf) is var looked && asOf - looked > (reach ?? Reach))
        {
            return Untold(kind, line, $"neither the bag nor its flow was charted since {At(balance, looked, asOf)}");
        }

        var assumption = $"{left} left at {flow}, by the label and the charted flow. An overfilled bag lasts longer";
        return Make(kind, line, asOf, TimeFor(left, flow), assumption, "the flow is stopped");
    }

    private static Instant LastLook(FluidBalance balance, string line, Instant asOf)
    {
        var (bag, flow) = (balance.Log[Channel.Bag(line)].LastAtOrBefore(asOf), balance.Log[Channel.Flow(line)].LastAtOrBefore(asOf));
        return new[] { bag?.At, flow?.At }.Max() ?? balance.Log.Frame.Start;
    }

    /// <summary>When a drainage container is full to a part of its capacity.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="container">The container.</param>
    /// <param name="capacity">What it holds; more than 0.</param>
    /// <param name="fillTo">The part to which it is filled; more than 0, at most 1.</param>
    /// <param name="urine">How fast urine is made.</param>
    /// <param name="asOf">The moment of asking.</param>
    /// <param name="reach">How long a reading foretells something; the default where null.</param>
    /// <remarks>
    /// What ran in since the reading has drained too: where several containers are in use, each is taken to get all of it, which is the
    /// earliest it can fill.
    /// </remarks>
    public static Forecast ContainerFull(
        FluidBalance balance,
        string container,
        Volume capacity,
        decimal fillTo,
        UrineForecast urine,
        Instant asOf,
        Duration? reach = null
    )
    {
        const string kind = "container-full";
        if (balance.InContainer(container, asOf) is not { } reading)
            return Untold(kind, container, "the container was never read");
        var read = At(balance, reading.At, asOf);
        if (asOf - reading.At > (reach ?? Reach))
            return Untold(kind, container, $"the container was not read since {read}");
        if (ClampedSince(balance, asOf) is { } clamped)
        {
            return Untold(kind, container, $"the drain is clamped since {At(balance, clamped, asOf)}: nothing runs into it");
        }

        if (Inflow(balance, asOf) is not { } flow)
            return Untold(kind, container, UnknownFlow(balance, asOf));
        var ran = balance.InstilledBetween(reading.At, asOf).Amount;
        if (ran is not { } since)
            return Untold(kind, container, $"what ran in since {read} is not known");
        var into = Sum(flow, urine.Rate);
        var holds = reading.Level + since.Charted + urine.Rate.Over(asOf - reading.At);
        var alone = InUse(balance, asOf).All(other => other == container) ? "" : ", and all of it runs into this one";
        return Make(
            kind,
            container,
            asOf,
            TimeFor((capacity * fillTo) - holds, into),
            $"{holds} in it now ({reading.Level} at {read}), to {capacity * fillTo} of {capacity}. "
                + $"It fills at {into}. Irrigant {flow}, {urine.Whence}. Taken for granted: nothing leaks and nothing stays behind{alone}",
            "nothing runs"
        );
    }

    /// <summary>When the bladder holds a limit: behind a clamp, or if the outflow stopped now.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="limit">What it is not to exceed, and whence.</param>
    /// <param name="urine">How fast urine is made.</param>
    /// <param name="asOf">The moment of asking.</param>
    /// <param name="reach">How long a scan or a clamping foretells something; the default where null.</param>
    /// <param name="emptyReach">How long an open bladder is taken as empty by a reading; the default where null.</param>
    public static Forecast DistensionLimit(
        FluidBalance balance,
        (Volume Limit, string Whence) limit,
        UrineForecast urine,
        Instant asOf,
        Duration? reach = null,
        Duration? emptyReach = null
    )
    {
        const string kind = "distension-limit";
        var (what, seen) = (FluidBalance.Bladder, LastSeen(balance, asOf));
        var takenAsEmpty = seen is { Scan: null, Clamped: null };
        if (asOf - seen.At > (takenAsEmpty ? emptyReach ?? ForecastSettings.Default.EmptyReach : reach ?? Reach))
            return Untold(kind, what, $"{seen.Unseen} since {At(balance, seen.At, asOf)}");
        if (Inflow(balance, asOf) is not { } flow)
            return Untold(kind, what, UnknownFlow(balance, asOf));
        if (Held(balance, seen, urine, asOf) is not { } held)
            return Untold(kind, what, "what ran in since the clamp is not known");
        var into = Sum(flow, urine.Rate);
        return Make(
            kind,
            what,
            asOf,
            TimeFor(limit.Limit - held.Amount, into),
            $"from {held.Amount} to {limit.Limit}. {Words.Capital(held.Whence)}. {limit.Limit} is {limit.Whence}. "
                + $"It fills at {into}: irrigant {flow}, {urine.Whence}",
            $"nothing runs in and {held.Amount} is held. {Words.Capital(held.Whence)}. The limit is {limit.Limit}"
        );
    }

    /// <summary>When somebody last saw what the bladder holds: a scan, the clamping of the drain, or a reading of the drainage.</summary>
    /// <remarks>
    /// A scan counts until drainage has been read after it, as far as a scan may lie from a reading: later the bladder may have emptied.
    /// </remarks>
    private static Seen LastSeen(FluidBalance balance, Instant asOf)
    {
        var scan = balance.Log[Channel.Scan].LastAtOrBefore(asOf) as BladderScanned;
        if (ClampedSince(balance, asOf) is { } clamped)
        {
            var shut = scan?.At >= clamped ? scan : null;
            return new(shut?.At ?? clamped, shut, clamped, "the drain is clamped and the bladder was not scanned");
        }

        var read = balance.Log[Channel.BladderOutput].LastAtOrBefore(asOf)?.At ?? balance.Log.Frame.Start;
        var counts = scan?.At >= read - balance.Settings.ScanReach ? scan : null;
        return new(counts?.At > read ? counts.At : read, counts, null, "neither was the drainage read nor the bladder scanned");
    }

    /// <summary>What the bladder is taken to hold now, and whence; null where it is shut and what ran in is not known.</summary>
    private static (Volume Amount, string Whence)? Held(FluidBalance balance, Seen seen, UrineForecast urine, Instant asOf)
    {
        var start = seen.Scan?.Held ?? Volume.Zero;
        if (seen.Clamped is not { } clamped)
        {
            return seen.Scan is { } open
                ? (start, $"by the scan at {At(balance, open.At, asOf)}, if the outflow stopped now")
                : (start, "taken as empty, for the drain is open and no scan says otherwise");
        }

        var shut = $"the drain is clamped since {At(balance, clamped, asOf)}";
        if (asOf <= seen.At)
            return (start, shut);
        if (balance.InstilledBetween(seen.At, asOf).Amount is not { } since)
            return null;
        var made = urine.Rate.Over(asOf - seen.At);
        var first = seen.Scan is { } scan ? $"scan of {scan.Held} at {At(balance, scan.At, asOf)}, " : "";
        return (start + since.Charted + made, $"{shut}: {first}{since.Charted} instilled and {made} urine since");
    }

    /// <summary>
    /// The drainage containers in use: the one read last, and any that was not emptied when it was read within the longest gap before;
    /// none that was taken away.
    /// </summary>
    internal static IEnumerable<string> InUse(FluidBalance balance, Instant asOf)
    {
        var read = Channel
            .Containers(balance.Log)
            .Where(container => !IsAway(balance, container, asOf))
            .Select(container => (Container: container, Last: balance.Log[Channel.Container(container)].LastAtOrBefore(asOf)))
            .Where(c => c.Last is not null)
            .ToList();
        return read.Where(c =>
                c.Last!.At == read.Max(other => other.Last!.At)
                || (c.Last is not (DrainageEmptied or DrainageWeighed { Emptied: true }) && c.Last.At >= asOf - balance.Settings.LongestGap)
            )
            .Select(c => c.Container);
    }

    /// <summary>Whether a container was taken away.</summary>
    /// <remarks>The first reading after that is of what it held then; one more says that it hangs again.</remarks>
    private static bool IsAway(FluidBalance balance, string container, Instant asOf) =>
        balance.Log[Channel.TakenAway(container)].LastAtOrBefore(asOf) is { } taken
        && !balance.Log[Channel.Container(container)].After(taken.At, asOf).Skip(1).Any();

    private static Instant? ClampedSince(FluidBalance balance, Instant asOf) =>
        (balance.Log[Channel.Clamp].LastAtOrBefore(asOf) as DrainClamped)?.At;

    /// <summary>How fast irrigant runs, all lines together; null where a line runs and nobody charted how fast.</summary>
    internal static FlowRate? Inflow(FluidBalance balance, Instant asOf)
    {
        var sum = FlowRate.Stopped;
        foreach (var line in Channel.Lines(balance.Log))
        {
            if (balance.FlowAt(line, asOf) is not { } flow)
                return null;
            sum = Sum(sum, flow);
        }

        return sum;
    }

    private static string UnknownFlow(FluidBalance balance, Instant asOf)
    {
        var uncharted = Channel.Lines(balance.Log).Where(line => balance.FlowAt(line, asOf) is null);
        return $"irrigation runs and no flow is charted for line {string.Join(", ", uncharted)}";
    }

    internal static FlowRate Sum(FlowRate one, FlowRate other) =>
        FlowRate.FromMillilitresPerHour(one.MillilitresPerHour + other.MillilitresPerHour);

    /// <summary>By the ward's clock; with the day, where that is another one than that of asking.</summary>
    private static string At(FluidBalance balance, Instant instant, Instant asOf) => balance.Log.Frame.Said(instant, asOf);

    private static Forecast Make(string kind, string what, Instant asOf, Duration? time, string assumption, string otherwise) =>
        time is { } known ? new(kind, what, known, asOf + known, assumption) : Untold(kind, what, otherwise);

    private static Forecast Untold(string kind, string what, string why) => new(kind, what, null, null, why);

    /// <summary>When and how somebody last saw what the bladder holds.</summary>
    /// <param name="At">When.</param>
    /// <param name="Scan">The scan that says it; null where it is taken as empty.</param>
    /// <param name="Clamped">Since when the drain is clamped; null while it is open.</param>
    /// <param name="Unseen">What nobody did since.</param>
    private sealed record Seen(Instant At, BladderScanned? Scan, Instant? Clamped, string Unseen);
}
