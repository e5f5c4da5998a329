using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>What ran in over a time.</summary>
/// <param name="Amount">I, as charted and at its best, with its doubts; null where unknown.</param>
/// <param name="Charted">The same by the times at which it was charted, for the simple number; null where unknown.</param>
/// <param name="Provisional">A reading of the irrigant that covers the end is still to come.</param>
/// <param name="Caveats">What a reader should know.</param>
/// <param name="Parts">The working.</param>
internal sealed record Instilled(Measured? Amount, Volume? Charted, bool Provisional, CaveatSet Caveats, ImmutableArray<Part> Parts);

/// <summary>Adds up what the lines give.</summary>
internal sealed class InstilledSum
{
    private readonly ImmutableArray<Part>.Builder parts = ImmutableArray.CreateBuilder<Part>();
    private CaveatSet caveats;
    private readonly List<(ErrorBudget, double)> errors = [];
    private Volume? amount = Volume.Zero;
    private Volume best = Volume.Zero;
    private Volume? charted = Volume.Zero;
    private bool awaits;

    public void Measured(Part part, Measured? share)
    {
        parts.Add(part);
        Add(share);
    }

    public void FromRate(EntryKey entry, Instant start, Instant end, Measured ran, bool charted)
    {
        parts.Add(new(PartKind.IrrigantFromRate, entry, start, end, ran.Charted, ran.Charted));
        Add(ran);
        if (charted)
            this.charted += ran.Charted;
    }

    /// <summary>Adds what is most likely true of what was counted as charted already.</summary>
    public void Weigh(Measured weighed)
    {
        best += weighed.Best;
        errors.Add((weighed.Errors, 1));
    }

    /// <summary>
    /// A few minutes of a bag of which nothing is charted: as fast as the one before, or not at all, or twice as fast.
    /// </summary>
    public void Short(EntryKey bag, Instant start, Instant end, Volume ran)
    {
        Note(Caveat.FlowStartUnknown);
        parts.Add(new(PartKind.IrrigantFromRate, bag, start, end, ran, ran));
        Add(new(ran, ran, ErrorBudget.Of(new("start of the flow from", bag.Source, bag.Id), ErrorBudget.Rectangular(ran.Millilitres))));
    }

    public void Chart(Volume? volume) => charted += volume;

    public void Note(Caveat caveat) => caveats = caveats.Add(caveat);

    public void Awaits() => awaits = true;

    public void Unknown() => amount = null;

    public Instilled Result() =>
        new(
            amount is { } known ? new Measured(known, best, ErrorBudget.Sum([.. errors])) : null,
            charted,
            awaits,
            caveats,
            parts.ToImmutable()
        );

    private void Add(Measured? share)
    {
        amount += share?.Charted;
        if (share is not { } known)
            return;
        best += known.Best;
        errors.Add((known.Errors, 1));
    }
}
