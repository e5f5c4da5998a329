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
            FlagCategory.Safety,
            "in-vitro study of gravity flow (clinical reference 2.7); the other ranges are our judgement",
            Cautions.MissingIsNotZero,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        List<string> doubts = [];
        var settings = bedside.Balance.Settings;
        var until = bedside.Settings.EntryFlagStands;
        Entry? about = null;
        NodaTime.Instant? again = null;
        void Doubt(Entry entry, string text)
        {
            doubts.Add(text);
            about ??= entry;
            if (!(again <= entry.At + until))
                again = entry.At + until;
        }

        var largest = bedside.ForBladder(bedside.Settings.LargestSyringe);
        foreach (var line in bedside.Lines)
        {
            if (
                bedside.Balance.FlowAt(line, bedside.At) > settings.HighestGravityFlow
                && bedside.Log[Channel.Flow(line)].LastAtOrBefore(bedside.At) is FlowSet { Header.How: not MeasuringWay.Pump } flow
            )
            {
                Doubt(flow, $"{flow.Rate} at {bedside.Said(flow.At)} on line {line}: gravity gives at most {settings.HighestGravityFlow}");
            }

            var syringe = bedside.Log[Channel.Syringe(line)].LastAtOrBefore(bedside.At) as IrrigantInstilled;
            if (syringe is { Amount: var given } && given > largest && bedside.At < syringe.At + until)
            {
                var whose = largest < bedside.Settings.LargestSyringe ? $" into a bladder of {bedside.DistensionLimit.Limit}" : "";
                Doubt(syringe, $"a syringe of {given} at {bedside.Said(syringe.At)}: at most {largest}{whose}");
            }
        }

        if (
            bedside.Log[Channel.BladderOutput].LastAtOrBefore(bedside.At) is { } read
            && bedside.At < read.At + until
            && bedside.Latest is { } latest
            && latest.End == read.At
            && latest.Caveats.Contains(Caveat.ImplausibleVolume)
        )
        {
            Doubt(read, $"a volume from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)} is above {settings.LargestVolume}");
        }

        if (
            bedside.Last<BloodPressureMeasured>() is { } pressure
            && bedside.At < pressure.At + until
            && !DysreflexiaRisk.IsPlausible(pressure, bedside.Settings)
        )
        {
            var plausible = $"{bedside.Settings.LeastSystolic} to {bedside.Settings.MostSystolic}";
            Doubt(pressure, $"a systolic pressure of {pressure.Systolic} at {bedside.Said(pressure.At)}: plausible is {plausible}");
        }

        if (
            WeightInForce.Of(bedside.Log, bedside.At, bedside.Facts.Patient, bedside.Limits.Criteria) is { Doubt: { } doubt }
            && bedside.Last<WeightMeasured>() is { } weighed
        )
            Doubt(weighed, doubt);
        return doubts.Count == 0
            ? new Finding.NotRaised()
            : new Finding.Raised(FlagPriority.Low, $"{string.Join("; ", doubts)}.") { Evidence = [Evidence.Of(about!)], LookAgain = again };
    }
}
