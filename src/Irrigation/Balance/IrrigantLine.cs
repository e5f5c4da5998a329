using Irrigation.Episodes;

namespace Irrigation.Balance;

/// <summary>What was charted on a line.</summary>
internal sealed class IrrigantLine(EpisodeLog log, string name)
{
    public string Name => name;

    public Timeline Bags { get; } = log[Channel.Bag(name)];

    public Timeline Pumps { get; } = log[Channel.Pump(name)];

    public Timeline Totals { get; } = log[Channel.Total(name)];

    public Timeline Flows { get; } = log[Channel.Flow(name)];

    public Timeline Syringes { get; } = log[Channel.Syringe(name)];

    public Timeline Discarded { get; } = log[Channel.Discarded(name)];

    /// <summary>The bag that was asked for last. Never changed, only replaced, so that two processors may ask.</summary>
    public AskedBag? Asked { get; set; }
}

/// <summary>A bag and all evidence of its flow.</summary>
internal sealed record AskedBag(HangingBag Bag, BagFlow Flow);
