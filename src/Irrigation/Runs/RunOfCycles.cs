using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Runs;

/// <summary>How a run of cycles came out.</summary>
public enum RunOutcome
{
    /// <summary>It goes on.</summary>
    Going,

    /// <summary>The return was as it was to be: free of clots and sediment, or what the order says.</summary>
    TargetReached,

    /// <summary>It is over, and the return was not as it was to be.</summary>
    TargetNotReached,

    /// <summary>It was ended for another reason.</summary>
    EndedOtherwise,

    /// <summary>It is over, and nobody said what came of it.</summary>
    NotSaid,
}

/// <summary>An intermittent or open irrigation: a run of cycles.</summary>
/// <param name="Name">As the sender calls it; null where nobody did.</param>
/// <param name="Cycles">The cycles, in the order of time; at least one.</param>
/// <param name="End">The last that happened in it.</param>
/// <param name="Order">The order in force when it began; null where there was none.</param>
/// <param name="Method">intermittent-manual, open or instillation-dwell, or the order's word.</param>
/// <param name="BesideFlow">
/// Whether irrigant ran continuously beside it: a manual washout. Then the account is that of the whole, and only what was measured in a
/// vessel of its own, or is named, counts as return.
/// </param>
/// <param name="Outcome">What came of it.</param>
/// <param name="Why">What the outcome rests on, in words.</param>
public sealed record RunOfCycles(
    string? Name,
    ImmutableArray<Cycle> Cycles,
    Instant End,
    OrderSet? Order,
    string Method,
    bool BesideFlow,
    RunOutcome Outcome,
    string Why
)
{
    /// <summary>The first aliquot.</summary>
    public Instant Start => Cycles[0].Start;

    /// <summary>Whether its entries name the run.</summary>
    public FoundBy Found => Name is null ? FoundBy.Time : FoundBy.Name;

    /// <summary>Who ended it, and why, if somebody said; null otherwise.</summary>
    public IrrigationStopped? Stopped { get; init; }

    /// <summary>When it will be over though nothing more is charted; null where it is, or while it dwells.</summary>
    public Instant? OverAt { get; init; }

    /// <summary>What tells it from others: its first aliquot. It stays when the run goes on.</summary>
    public IrrigantInstilled First => Cycles[0].Given[0];

    /// <summary>What was instilled in all.</summary>
    public Measured In => Cycles.Aggregate(Measured.Nothing, (sum, cycle) => sum + cycle.In);

    /// <summary>What came back in all; null where the return of the last cycles, or of any, is not charted or tells nothing.</summary>
    public Measured? Back =>
        Cycles[^1].Back is null || Unreturned.Any()
            ? null
            : Cycles.Aggregate(Measured.Nothing, (sum, cycle) => cycle.Back is { } back ? sum + back : sum);

    /// <summary>What did not come back in all; below 0 what came back beyond. Null where that is not known.</summary>
    public Measured? Shortfall => Back is { } back ? In - back : null;

    /// <summary>The cycles of which it is not known what came back, neither by themselves nor together with a later one.</summary>
    public IEnumerable<Cycle> Unreturned =>
        Cycles.Where(
            (cycle, place) =>
                cycle.Back is null
                && !Cycles.Where((later, at) => later.Back is not null && at > place && at - later.ReturnOf < place).Any()
        );

    /// <summary>What the first return looked like; null where nobody said.</summary>
    public DrainageAppearance? FirstLook => Cycles.Select(cycle => cycle.Looked).OfType<DrainageAppearance>().FirstOrDefault();

    /// <summary>What the last return looked like; null where nobody said.</summary>
    public DrainageAppearance? LastLook => Cycles.Select(cycle => cycle.Looked).OfType<DrainageAppearance>().LastOrDefault();

    /// <summary>What was instilled, by the entries, or else the order; null where nobody said.</summary>
    public string? Solution => Said(given => given.Solution) ?? Order?.Solution;

    /// <summary>What was added, by the entries, or else the order; null where nothing was or nobody said.</summary>
    public string? Additive => Said(given => given.Additive) ?? Order?.Additive;

    /// <summary>Whether it is over.</summary>
    public bool IsOver => Outcome != RunOutcome.Going;

    /// <summary>Best estimate ± 2 standard uncertainties, as everywhere (JCGM 100:2008, annex G).</summary>
    public static VolumeRange Interval(Measured measured)
    {
        var half = measured.Errors.StandardUncertainty * UrineOutput.CoverageFactor;
        return new(measured.Best - half, measured.Best + half);
    }

    private string? Said(Func<IrrigantInstilled, string?> of) =>
        Cycles.SelectMany(cycle => cycle.Given).Select(of).OfType<string>().FirstOrDefault();
}
