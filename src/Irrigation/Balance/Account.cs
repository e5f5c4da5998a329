using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>What ran in and what came of it over a time that somebody asks for: since the start, since theatre, a day.</summary>
/// <param name="Start">From when.</param>
/// <param name="End">Up to when.</param>
/// <param name="Irrigant">What ran in, as charted and at its best with its doubts; null where that is not known.</param>
/// <param name="Output">
/// The corrected urine output of what is read of that time: it ends with the last reading of the drainage, if that was before the end.
/// </param>
public sealed record Account(Instant Start, Instant End, Measured? Irrigant, OutputWindow Output)
{
    /// <summary>Why it is not known what ran in: where no flow is charted, with its minutes; null where it is known.</summary>
    public string? AbsentSays { get; init; }

    /// <summary>The 95 % interval of what ran in; null where that is not known.</summary>
    public VolumeRange? Irrigant95
    {
        get
        {
            if (Irrigant is not { } known)
                return null;
            var half = known.Errors.StandardUncertainty * UrineOutput.CoverageFactor;
            return new(known.Best - half, known.Best + half);
        }
    }

    /// <summary>The account of a time; what lies before the episode, or after its end, is not part of it.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="start">From when.</param>
    /// <param name="end">Up to when; not before the start.</param>
    public static Account Of(FluidBalance balance, Instant start, Instant end)
    {
        var frame = balance.Log.Frame;
        var from = Instant.Max(start, frame.Start);
        var to = Instant.Max(from, Instant.Min(end, frame.End ?? end));
        var read = Instant.Max(from, Instant.Min(to, balance.LastClosing));
        var irrigant = balance.InstilledBetween(from, to).Amount;
        return new(from, to, irrigant, balance.Over(WindowKind.Trailing, new(from, read)))
        {
            AbsentSays = irrigant is null
                ? AbsentFlow.Says(AbsentFlow.Between(balance, from, to), at => frame.Said(at, to)) ?? Words.Of(AbsentReason.IrrigantUnknown)
                : null,
        };
    }

    /// <summary>The local days of the ward that an episode lasted, up to a moment; the last is not over.</summary>
    /// <param name="balance">The balance.</param>
    /// <param name="asOf">The moment of asking.</param>
    /// <param name="most">At most so many, the latest.</param>
    public static IEnumerable<Account> Days(FluidBalance balance, Instant asOf, int most)
    {
        var frame = balance.Log.Frame;
        var last = Instant.Min(asOf, frame.End ?? asOf);
        var day = last.InZone(frame.Zone).Date;
        var first = frame.Start.InZone(frame.Zone).Date;
        if (first < day.PlusDays(1 - most))
            first = day.PlusDays(1 - most);
        for (var date = first; date <= day; date = date.PlusDays(1))
        {
            var (from, to) = (frame.Zone.AtStartOfDay(date).ToInstant(), frame.Zone.AtStartOfDay(date.PlusDays(1)).ToInstant());
            if (Instant.Max(from, frame.Start) < Instant.Min(to, last))
                yield return Of(balance, from, Instant.Min(to, last));
        }
    }
}
