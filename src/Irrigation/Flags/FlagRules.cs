using System.Collections.Immutable;

namespace Irrigation.Flags;

/// <summary>Every flag, and which goes before which; src/Irrigation/README.md, section 9, says each in words.</summary>
public static class FlagRules
{
    /// <summary>Every rule, in the order in which they look: a rule may ask how those above it stand.</summary>
    public static ImmutableArray<FlagRule> All { get; } =
    [
        OutflowDeficit.Rule, // F1
        DrainageReadingStale.Rule, // F3: before no-drainage, which waits for it
        NoDrainage.Rule, // F2
        ReturnShort.Rule, // of a cycle: before what it explains
        NegativeCorrectedOutput.Rule, // F4
        UrineOutputCriterionMet.Rule, // F5
        Anuria.Rule, // F6
        LowHourlyOutput.Rule, // F7
        Oliguria.Rule, // F8
        Polyuria.Rule, // F8
        PostObstructiveDiuresis.Rule, // F9
        UnaccountedIrrigant.Rule, // F10
        BleedingWorse.Rule, // F11
        ClotsPresent.Rule, // F11
        RateColourMismatch.Rule, // F12
        DwellOverrun.Rule, // F13
        InflowWhileClamped.Rule, // F13
        DwellUnattended.Rule, // F13
        IrrigationImpeded.Rule, // as met
        PoorlyTolerated.Rule, // as said
        IrrigationDue.Rule, // by the order's times a day
        BagDry.Rule, // F14
        BagLow.Rule, // F14
        DrainageBagHigh.Rule, // F14
        OrderMismatch.Rule, // F15
        MedicatedLimit.Rule, // F16
        Implausible.Rule, // F17
        ReadingDoubted.Rule, // F17
        LateEntry.Rule, // F18
        RecordIncomplete.Rule, // F19
        CatheterReview.Rule, // F21
        CatheterLeakage.Rule, // as seen
        BladderDistension.Rule, // as seen
        SuprapubicTenderness.Rule, // as seen
        DysreflexiaRisk.Rule, // F20: after all that trigger it
    ];

    /// <summary>
    /// What goes before what: while one of the first stands, the other is not decided, for what the first is about explains it, or
    /// leaves nothing to measure. The first have to look earlier (<see cref="All"/>): else the reading that ends them would leave the
    /// other undecided until something else is charted.
    /// </summary>
    public static ImmutableArray<(string Flag, ImmutableArray<string> WhileStands, string Because)> Precedence { get; } =
    [
        ("no-drainage", ["drainage-reading-stale"], "the drainage was not read: not read is not nothing drained"),
        ("negative-corrected-output", ["return-short"], "what did not come back of the aliquots explains it"),
        ("urine-output-criterion", ["no-drainage", "outflow-deficit"], "what is held back may be urine: the output cannot be judged"),
        ("anuria", ["no-drainage", "outflow-deficit"], "obstruction goes before anuria: what is held back may be urine"),
        ("low-hourly-output", ["no-drainage", "outflow-deficit"], "what is held back may be urine: the output cannot be judged"),
        ("oliguria", ["no-drainage", "outflow-deficit"], "what is held back may be urine: the output cannot be judged"),
        ("rate-colour-mismatch", ["no-drainage", "outflow-deficit"], "while outflow is in doubt the flow is not to be raised"),
        ("bag-low", ["bag-dry"], "the bag is dry"),
    ];

    private static readonly ImmutableDictionary<string, int> Places = All.Select((rule, place) => (rule.Slug, place))
        .ToImmutableDictionary(r => r.Slug, r => r.place);

    /// <summary>Where a rule stands in <see cref="All"/>.</summary>
    /// <exception cref="KeyNotFoundException">There is no such rule.</exception>
    public static int IndexOf(string slug) => Places[slug];

    /// <summary>The rule of a slug; null where there is none.</summary>
    public static FlagRule? Find(string slug) => Places.TryGetValue(slug, out var place) ? All[place] : null;

    /// <summary>A flag in the middle of a sentence: its title, or what it is called where there is no such rule.</summary>
    public static string InWords(string slug) => Find(slug)?.Title is { } title ? char.ToLowerInvariant(title[0]) + title[1..] : slug;

    /// <summary>What a rule says, after what goes before it.</summary>
    /// <remarks>A flag that stands is not taken down for what goes before it: it waits, and says what it said.</remarks>
    internal static Finding Judge(FlagRule rule, Bedside bedside)
    {
        foreach (var (flag, whileStands, because) in Precedence)
        {
            if (flag != rule.Slug)
                continue;
            foreach (var first in whileStands)
            {
                if (bedside.Standing(first) is not { } standing)
                    continue;
                if (bedside.Standing(rule.Slug) is { } waits)
                    return waits.Latest;
                var name = InWords(first);
                return new Finding.Undecided($"{name} stands since {bedside.Said(standing.Start)}: {because}", $"{name} to be cleared");
            }
        }

        return rule.Judge(bedside);
    }
}
