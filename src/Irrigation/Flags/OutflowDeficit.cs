using Irrigation.Episodes;
using Irrigation.Measures;

namespace Irrigation.Flags;

/// <summary>F1. Irrigant runs in and does not come back: the catheter may be blocked.</summary>
/// <remarks>
/// Warning from <see cref="FlagSettings.DeficitWarning"/> where the 95 % interval lies above 0; critical from
/// <see cref="FlagSettings.DeficitCritical"/>, or the set part of the patient's own capacity, whatever the interval. A bladder scan
/// since the last reading, with the drain open, counts where it says more. No guideline gives these numbers.
/// </remarks>
public static class OutflowDeficit
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } = new(
        "outflow-deficit",
        "Outflow deficit",
        FlagCategory.Clinical,
        "teaching file (200 mL), bladder capacity (500 mL); our judgement, for no guideline gives a number",
        $"{Cautions.Outflow} {Cautions.NotAbsorption}",
        Judge);

    /// <summary>From how much on it warns and is critical, for this patient: a small bladder has small limits, in the same proportion.</summary>
    internal static (Volume Warning, Volume Critical, string Whence) LimitsFor(Bedside bedside)
    {
        var settings = bedside.Settings;
        var own = bedside.Facts.BladderCapacity is not null || bedside.Facts.Patient.YearsAt(bedside.At) is < 18;
        var (limit, whence) = bedside.DistensionLimit;
        var part = limit * settings.DeficitOfCapacity;
        return own && part < settings.DeficitCritical
            ? (settings.DeficitWarning.Share(part.Millilitres, settings.DeficitCritical.Millilitres), part, $", {settings.DeficitOfCapacity:0.##} of {whence}")
            : (settings.DeficitWarning, settings.DeficitCritical, "");
    }

    private static Finding Judge(Bedside bedside)
    {
        if (!bedside.Lines.Any()) return new Finding.NotRaised();
        if (bedside.Latest is not { } latest) return new Finding.Undecided("irrigant is charted and no drainage was read", "a reading of the drainage");
        if (latest.Worked is null) return new Finding.Undecided($"what drained or ran in from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)} is not known", "readings of the bag and of the drainage");

        var (warning, critical, whence) = LimitsFor(bedside);
        var standing = bedside.Standing("outflow-deficit");
        var (largest, certain) = Deficit.Of(bedside, standing is null ? warning : warning * bedside.Settings.ClearAt);
        var scan = Scan(bedside, latest);
        var byScan = scan is not null && scan.Held > (largest?.Amount ?? Volume.Zero);
        var amount = byScan ? scan!.Held : largest?.Amount ?? Volume.Zero;

        var urgent = amount >= (standing?.Latest.Priority == FlagPriority.Urgent ? critical * bedside.Settings.ClearAt : critical);
        if (urgent || (standing is null ? certain is not null || (byScan && amount >= warning) : amount > warning * bedside.Settings.ClearAt))
        {
            var limit = urgent ? critical : warning;
            var deficit = urgent ? largest : certain ?? largest;
            return new Finding.Raised(urgent ? FlagPriority.Urgent : FlagPriority.High, $"{(byScan ? $"bladder scan of {scan!.Held} at {bedside.Said(scan.At)} with the drain open" : deficit!.Says(bedside))}; limit {limit}{whence}.")
            {
                Evidence = byScan ? [Evidence.Of(scan!)] : [Evidence.Of(latest)],
            };
        }

        return amount >= warning
            ? new Finding.Undecided($"{largest!.Says(bedside)}; limit {warning}{whence}: the interval does not lie above 0", "a weighed drainage, a bladder scan, or the next reading")
            : new Finding.NotRaised();
    }

    /// <summary>A scan that tells what the open bladder holds now: taken no earlier than a scan may lie before a reading, and nothing read since.</summary>
    private static BladderScanned? Scan(Bedside bedside, Balance.ClosedInterval latest) =>
        bedside.Clamped is null && bedside.Log[Channel.Scan].LastAtOrBefore(bedside.At) is BladderScanned scan && scan.At >= latest.End ? scan : null;
}
