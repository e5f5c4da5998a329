using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;
using NodaTime.Text;

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
public static class Forecasts
{
    private static readonly Duration Longest = Duration.FromDays(365);
    private static readonly LocalTimePattern Clock = LocalTimePattern.CreateWithInvariantCulture("HH:mm");

    /// <summary>Every forecast that can be asked for: each line with a hanging bag, each drainage container in use, the bladder. None once the episode has ended.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="years">The patient's completed years; null where unknown.</param>
    /// <param name="capacity">The patient's own bladder capacity; null where not charted.</param>
    /// <param name="asOf">The moment of asking.</param>
    /// <param name="settings">Capacities, limits and the urine to assume.</param>
    public static ImmutableArray<Forecast> Of(FluidBalance balance, int? years, Volume? capacity, Instant asOf, ForecastSettings settings)
    {
        if (balance.Log.Frame.End <= asOf || asOf < balance.Log.Frame.Start) return [];
        var urine = Urine(balance, asOf, settings);
        return
        [
            .. Channel.Lines(balance.Log).Where(line => balance.BagHangs(line, asOf)).Select(line => BagEmpty(balance, line, asOf)),
            .. InUse(balance, asOf).Select(container => ContainerFull(balance, container, settings.DrainageBag, settings.FillTo, urine, asOf)),
            DistensionLimit(balance, settings.LimitFor(years, capacity), urine, asOf),
        ];
    }

    /// <summary>Time until a volume has run at a rate; null where nothing runs, or so little that it would take more than a year.</summary>
    /// <remarks>Clinical reference 1.9 and 1.10: what is left, or what there is room for, over the flow.</remarks>
    public static Duration? TimeFor(Volume volume, FlowRate rate)
    {
        if (volume <= Volume.Zero) return Duration.Zero;
        if (volume > rate.Over(Longest)) return null;
        return Duration.FromNanoseconds((long)(volume.Millilitres * Elapsed.PerHour / rate.MillilitresPerHour));
    }

    /// <summary>How fast urine is made: by the best estimate of the latest closed interval of the bladder, or as assumed. Never below 0.</summary>
    public static UrineForecast Urine(FluidBalance balance, Instant asOf, ForecastSettings settings)
    {
        var assumed = settings.AssumedUrine;
        if (balance[FluidBalance.Bladder].LastOrDefault(i => i.End <= asOf) is not { } latest) return new(assumed, $"urine {assumed}, assumed: none measured yet");
        var span = $"{At(balance, latest.Start)} to {At(balance, latest.End)}";
        if (latest.Output?.BestEstimate is not { } best) return new(assumed, $"urine {assumed}, assumed: {span} has no best estimate");
        var rate = FlowRate.Of(best.Value, latest.Length);
        return rate < FlowRate.Stopped
            ? new(FlowRate.Stopped, $"urine taken as 0 mL/h, for the best estimate of {span} is below 0")
            : new(rate, $"urine {rate}, the best estimate of {span}");
    }

    /// <summary>When the bag of a line is empty.</summary>
    public static Forecast BagEmpty(FluidBalance balance, string line, Instant asOf)
    {
        const string kind = "bag-empty";
        if (!balance.BagHangs(line, asOf)) return Untold(kind, line, "no bag hangs on the line");
        if (balance.LeftInBag(line, asOf) is not { } left) return Untold(kind, line, "a pump delivers what hangs, and its counter does not say what is left in the bag");
        if (balance.FlowAt(line, asOf) is not { } flow) return Untold(kind, line, "no flow is charted for the line");
        return Make(kind, line, asOf, TimeFor(left, flow), $"{left} left at {flow}, by the label and the charted flow; an overfilled bag lasts longer", "the flow is stopped");
    }

    /// <summary>When a drainage container is full to a part of its capacity.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="container">The container.</param>
    /// <param name="capacity">What it holds; more than 0.</param>
    /// <param name="fillTo">The part to which it is filled; more than 0, at most 1.</param>
    /// <param name="urine">How fast urine is made.</param>
    /// <param name="asOf">The moment of asking.</param>
    /// <remarks>What ran in since the reading has drained too: where several containers are in use, each is taken to get all of it, which is the earliest it can fill.</remarks>
    public static Forecast ContainerFull(FluidBalance balance, string container, Volume capacity, decimal fillTo, UrineForecast urine, Instant asOf)
    {
        const string kind = "container-full";
        if (balance.InContainer(container, asOf) is not { } reading) return Untold(kind, container, "the container was never read");
        if (ClampedSince(balance, asOf) is { } clamped) return Untold(kind, container, $"the drain is clamped since {At(balance, clamped)}: nothing runs into it");
        if (Inflow(balance, asOf) is not { } flow) return Untold(kind, container, UnknownFlow(balance, asOf));
        if (balance.InstilledBetween(reading.At, asOf).Amount is not { } since) return Untold(kind, container, $"what ran in since {At(balance, reading.At)} is not known");
        var into = Sum(flow, urine.Rate);
        var holds = reading.Level + since.Charted + urine.Rate.Over(asOf - reading.At);
        var alone = InUse(balance, asOf).All(other => other == container) ? "" : ", and all of it runs into this one";
        return Make(
            kind,
            container,
            asOf,
            TimeFor((capacity * fillTo) - holds, into),
            $"{holds} in it now ({reading.Level} at {At(balance, reading.At)}), to {capacity * fillTo} of {capacity}, filling at {into} (irrigant {flow}; {urine.Whence}); nothing leaks and nothing stays behind{alone}",
            "nothing runs");
    }

    /// <summary>When the bladder holds a limit: behind a clamp, or if the outflow stopped now.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="limit">What it is not to exceed, and whence.</param>
    /// <param name="urine">How fast urine is made.</param>
    /// <param name="asOf">The moment of asking.</param>
    public static Forecast DistensionLimit(FluidBalance balance, (Volume Limit, string Whence) limit, UrineForecast urine, Instant asOf)
    {
        const string kind = "distension-limit";
        if (Inflow(balance, asOf) is not { } flow) return Untold(kind, FluidBalance.Bladder, UnknownFlow(balance, asOf));
        if (Held(balance, urine, asOf) is not { } held) return Untold(kind, FluidBalance.Bladder, "what ran in since the clamp is not known");
        var into = Sum(flow, urine.Rate);
        return Make(
            kind,
            FluidBalance.Bladder,
            asOf,
            TimeFor(limit.Limit - held.Amount, into),
            $"from {held.Amount} ({held.Whence}) to {limit.Limit} ({limit.Whence}) at {into} (irrigant {flow}; {urine.Whence})",
            $"nothing runs in: {held.Amount} ({held.Whence}), limit {limit.Limit}");
    }

    /// <summary>What the bladder is taken to hold now, and what that rests on; null where it is shut and what ran in is not known.</summary>
    /// <remarks>A scan counts until drainage has been read after it, as far as a scan may lie from a reading: later the bladder may have emptied.</remarks>
    private static (Volume Amount, string Whence)? Held(FluidBalance balance, UrineForecast urine, Instant asOf)
    {
        var scan = balance.Log[Channel.Scan].LastAtOrBefore(asOf) as BladderScanned;
        if (ClampedSince(balance, asOf) is { } clamped)
        {
            var (from, start) = scan?.At >= clamped ? (scan.At, scan.Held) : (clamped, Volume.Zero);
            if (asOf <= from) return (start, $"the drain is clamped since {At(balance, clamped)}");
            if (balance.InstilledBetween(from, asOf).Amount is not { } since) return null;
            var made = urine.Rate.Over(asOf - from);
            var first = scan?.At >= clamped ? $"scan of {scan.Held} at {At(balance, scan.At)}, " : "";
            return (start + since.Charted + made, $"the drain is clamped since {At(balance, clamped)}: {first}{since.Charted} instilled and {made} urine since");
        }

        var read = balance.Log[Channel.BladderOutput].LastAtOrBefore(asOf)?.At ?? balance.Log.Frame.Start;
        return scan is not null && scan.At >= read - balance.Settings.ScanReach
            ? (scan.Held, $"scan at {At(balance, scan.At)}; if the outflow stopped now")
            : (Volume.Zero, "taken as empty: the drain is open and no scan says otherwise; if the outflow stopped now");
    }

    /// <summary>The drainage containers in use: the one read last, and any that was not emptied when it was read within the longest gap before.</summary>
    internal static IEnumerable<string> InUse(FluidBalance balance, Instant asOf)
    {
        var read = Channel.Containers(balance.Log)
            .Select(container => (Container: container, Last: balance.Log[Channel.Container(container)].LastAtOrBefore(asOf)))
            .Where(c => c.Last is not null).ToList();
        return read
            .Where(c => c.Last!.At == read.Max(other => other.Last!.At)
                || (c.Last is not (DrainageEmptied or DrainageWeighed { Emptied: true }) && c.Last.At >= asOf - balance.Settings.LongestGap))
            .Select(c => c.Container);
    }

    private static Instant? ClampedSince(FluidBalance balance, Instant asOf) => (balance.Log[Channel.Clamp].LastAtOrBefore(asOf) as DrainClamped)?.At;

    /// <summary>How fast irrigant runs, all lines together; null where a line runs and nobody charted how fast.</summary>
    internal static FlowRate? Inflow(FluidBalance balance, Instant asOf)
    {
        var sum = FlowRate.Stopped;
        foreach (var line in Channel.Lines(balance.Log))
        {
            if (balance.FlowAt(line, asOf) is not { } flow) return null;
            sum = Sum(sum, flow);
        }

        return sum;
    }

    private static string UnknownFlow(FluidBalance balance, Instant asOf) =>
        $"irrigation runs and no flow is charted for line {string.Join(", ", Channel.Lines(balance.Log).Where(line => balance.FlowAt(line, asOf) is null))}";

    internal static FlowRate Sum(FlowRate one, FlowRate other) => FlowRate.FromMillilitresPerHour(one.MillilitresPerHour + other.MillilitresPerHour);

    private static string At(FluidBalance balance, Instant instant) => Clock.Format(instant.InZone(balance.Log.Frame.Zone).TimeOfDay);

    private static Forecast Make(string kind, string what, Instant asOf, Duration? time, string assumption, string otherwise) =>
        time is { } known ? new(kind, what, known, asOf + known, assumption) : Untold(kind, what, otherwise);

    private static Forecast Untold(string kind, string what, string why) => new(kind, what, null, null, why);
}
