using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>What would come when, if things go on as they are.</summary>
/// <param name="Kind">What: bag-empty, container-full, distension-limit.</param>
/// <param name="In">How long from the moment of asking; null where it cannot be told.</param>
/// <param name="At">When; null where it cannot be told.</param>
/// <param name="Assumption">What it rests on, or why it cannot be told.</param>
public sealed record Forecast(string Kind, Duration? In, Instant? At, string Assumption);

/// <summary>Forecasts. Each is a division, and each says what it rests on.</summary>
public static class Forecasts
{
    /// <summary>Time until a volume has run at a rate; null where nothing runs.</summary>
    /// <remarks>Clinical reference 1.9 and 1.10: what is left, or what there is room for, over the flow.</remarks>
    public static Duration? TimeFor(Volume volume, FlowRate rate)
    {
        if (volume <= Volume.Zero) return Duration.Zero;
        return rate <= FlowRate.Stopped ? null : Duration.FromNanoseconds((long)(volume.Millilitres / rate.MillilitresPerHour * Elapsed.PerHour));
    }

    /// <summary>When the bag of a line is empty.</summary>
    public static Forecast BagEmpty(FluidBalance balance, string line, Instant asOf)
    {
        const string kind = "bag-empty";
        if (FlowOf(balance.Log, line, asOf) is not { } flow) return new(kind, null, null, "no flow is charted for the line");
        if (balance.LeftInBag(line, asOf) is not { } left) return new(kind, null, null, "no bag hangs on the line, or a pump delivers what hangs");
        return Make(kind, asOf, TimeFor(left, flow), $"{left} left at {flow}, by the label and the charted flow; an overfilled bag lasts longer", "the flow is stopped");
    }

    /// <summary>When a drainage container is full to a part of its capacity.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="container">The container.</param>
    /// <param name="capacity">What it holds: bags of 2 L and 4 L are common practice, no source.</param>
    /// <param name="fillTo">The part to which it is filled: texts say a half, two thirds or three quarters.</param>
    /// <param name="urine">How fast urine is made.</param>
    /// <param name="asOf">The moment of asking.</param>
    public static Forecast ContainerFull(FluidBalance balance, string container, Volume capacity, decimal fillTo, FlowRate urine, Instant asOf)
    {
        const string kind = "container-full";
        var flow = AllFlows(balance.Log, asOf);
        if (balance.InContainer(container, asOf) is not { } reading) return new(kind, null, null, "the container was never read");
        var into = FlowRate.FromMillilitresPerHour(flow.MillilitresPerHour + urine.MillilitresPerHour);
        var holds = reading.Level + into.Over(asOf - reading.At);
        return Make(kind, asOf, TimeFor((capacity * fillTo) - holds, into), $"{holds} in it now, filling at {into} (irrigant {flow}, urine {urine}); nothing leaks and nothing stays behind", "nothing runs");
    }

    /// <summary>When the bladder holds a limit, if the outflow stopped now.</summary>
    public static Forecast DistensionLimit(FluidBalance balance, Volume held, Volume limit, FlowRate urine, Instant asOf)
    {
        var flow = AllFlows(balance.Log, asOf);
        var into = FlowRate.FromMillilitresPerHour(flow.MillilitresPerHour + urine.MillilitresPerHour);
        return Make("distension-limit", asOf, TimeFor(limit - held, into), $"from {held} to {limit} at {into} (irrigant {flow}, urine {urine}), if the outflow stopped now", "nothing runs");
    }

    private static Forecast Make(string kind, Instant asOf, Duration? time, string assumption, string otherwise) =>
        time is { } known ? new(kind, known, asOf + known, assumption) : new(kind, null, null, otherwise);

    private static FlowRate? FlowOf(EpisodeLog log, string line, Instant asOf) => (log[Channel.Flow(line)].LastAtOrBefore(asOf) as FlowSet)?.Rate;

    private static FlowRate AllFlows(EpisodeLog log, Instant asOf) =>
        FlowRate.FromMillilitresPerHour(Channel.Lines(log).Sum(line => FlowOf(log, line, asOf)?.MillilitresPerHour ?? 0));
}
