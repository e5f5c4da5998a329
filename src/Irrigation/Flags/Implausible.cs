using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>
/// F17. A figure on record is outside what is plausible: a flow above what gravity gives, a volume above the largest bag, a syringe above
/// 100 mL, less for a small bladder, a weight or a blood pressure that cannot be.
/// </summary>
/// <remarks>
/// Times in the future and bags that overlap are refused on entry. It ends when the figure is amended, superseded, or a shift old. What
/// bag and container hold does not go by the patient.
/// </remarks>
public static class Implausible
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "implausible",
            "Implausible entry",
            FlagCategory.DataQuality,
            "in-vitro study of gravity flow (clinical reference 2.7); the other ranges are our judgement",
            Cautions.MissingIsNotZero,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        List<(Entry Entry, string Says)> doubts = [.. OfLines(bedside), .. OfThePatient(bedside)];
        return doubts.Count == 0
            ? new Finding.NotRaised()
            : new Finding.Raised(
                FlagPriority.Low,
                $"{string.Join(". ", doubts.Select((doubt, place) => place == 0 ? doubt.Says : Words.Capital(doubt.Says)))}."
            )
            {
                Evidence = [Evidence.Of(doubts[0].Entry)],
                LookAgain = doubts.Min(doubt => doubt.Entry.At) + bedside.Settings.EntryFlagStands,
            };
    }

    /// <summary>Flows and syringes, line by line.</summary>
    private static IEnumerable<(Entry Entry, string Says)> OfLines(Bedside bedside)
    {
        var gravity = bedside.Balance.Settings.HighestGravityFlow;
        var largest = bedside.ForBladder(bedside.Settings.LargestSyringe);
        foreach (var line in bedside.Lines)
        {
            if (
                bedside.Balance.FlowAt(line, bedside.At) > gravity
                && bedside.Log[Channel.Flow(line)].LastAtOrBefore(bedside.At) is FlowSet { Header.How: not MeasuringWay.Pump } flow
            )
            {
                yield return (flow, $"{flow.Rate} at {bedside.Said(flow.At)} on line {line}: gravity gives at most {gravity}");
            }

            var syringe = bedside.Log[Channel.Syringe(line)].LastAtOrBefore(bedside.At) as IrrigantInstilled;
            if (syringe is { Amount: var given } && given > largest && Stands(syringe, bedside))
            {
                var whose = largest < bedside.Settings.LargestSyringe ? $" into a bladder of {bedside.DistensionLimit.Limit}" : "";
                yield return (syringe, $"a syringe of {given} at {bedside.Said(syringe.At)}: at most {largest}{whose}");
            }
        }
    }

    /// <summary>What drained, the blood pressure and the weight.</summary>
    private static IEnumerable<(Entry Entry, string Says)> OfThePatient(Bedside bedside)
    {
        if (
            bedside.Log[Channel.BladderOutput].LastAtOrBefore(bedside.At) is { } read
            && Stands(read, bedside)
            && bedside.Latest is { } latest
            && latest.End == read.At
            && latest.Caveats.Contains(Caveat.ImplausibleVolume)
        )
        {
            var time = $"from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)}";
            yield return (read, $"a volume {time} is above {bedside.Balance.Settings.LargestVolume}");
        }

        if (
            bedside.Last<BloodPressureMeasured>() is { } pressure
            && Stands(pressure, bedside)
            && !DysreflexiaRisk.IsPlausible(pressure, bedside.Settings)
        )
        {
            var plausible = $"{bedside.Settings.LeastSystolic} to {bedside.Settings.MostSystolic}";
            yield return (pressure, $"a systolic pressure of {pressure.Systolic} at {bedside.Said(pressure.At)}: plausible is {plausible}");
        }

        if (
            WeightInForce.Of(bedside.Log, bedside.At, bedside.Facts.Patient, bedside.Limits.Criteria) is { Doubt: { } doubt }
            && bedside.Last<WeightMeasured>() is { } weighed
        )
            yield return (weighed, doubt);
    }

    private static bool Stands(Entry entry, Bedside bedside) => bedside.At < entry.At + bedside.Settings.EntryFlagStands;
}
