using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;

namespace Irrigation.Flags;

/// <summary>F1. Irrigant runs in and does not come back: the catheter may be blocked.</summary>
/// <remarks>
/// <para>Warning from <see cref="FlagSettings.DeficitWarning"/> where the 95 % interval lies above 0; critical from
/// <see cref="FlagSettings.DeficitCritical"/>, or the set part of the patient's own capacity: said before the interval lies above 0, and
/// urgent when it does. A bladder scan since the last reading, with the drain open, counts where it says more. No guideline gives these
/// numbers (src/Irrigation/README.md, section 2.4).</para>
/// <para>By an interval that is doubted, or whose container is not read yet, nothing is said either way; a scan speaks for itself.</para>
/// </remarks>
public static class OutflowDeficit
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "outflow-deficit",
            "Outflow deficit",
            FlagCategory.Clinical,
            "teaching file (200 mL), bladder capacity (500 mL); our judgement, for no guideline gives a number",
            $"{Cautions.Outflow} {Cautions.NotAbsorption}",
            Judge
        );

    /// <summary>
    /// From how much on it warns and is critical, for this patient: a small bladder has small limits, in the same proportion.
    /// </summary>
    internal static Limits LimitsFor(Bedside bedside)
    {
        var settings = bedside.Settings;
        var (limit, whence) = bedside.DistensionLimit;
        var part = limit * settings.DeficitOfCapacity;
        return bedside.HasOwnLimits && part < settings.DeficitCritical
            ? new(
                settings.DeficitWarning.Share(part.Millilitres, settings.DeficitCritical.Millilitres),
                part,
                FormattableString.Invariant($", {settings.DeficitOfCapacity:0.##} of {whence}")
            )
            : new(settings.DeficitWarning, settings.DeficitCritical, "");
    }

    private static Finding Judge(Bedside bedside)
    {
        if (!bedside.Lines.Any())
            return new Finding.NotRaised();
        var (limits, standing) = (LimitsFor(bedside), bedside.Standing("outflow-deficit"));
        var scan = Scan(bedside);
        if (Unknown(bedside) is { } unknown)
            return scan?.Held >= limits.Warning ? ByScan(bedside, scan, limits) : unknown;

        var clearing = limits.Warning * bedside.Settings.ClearAt;
        var (largest, certain) = Deficit.Of(bedside, standing is null ? limits.Warning : clearing);
        var byScan = scan?.Held > (largest?.Amount ?? Volume.Zero);
        var amount = byScan ? scan!.Held : largest?.Amount ?? Volume.Zero;

        var critical = IsCritical(bedside, amount, limits.Critical);
        if (byScan && (standing is null ? amount >= limits.Warning : amount > clearing))
            return ByScan(bedside, scan!, limits);
        if (critical && Exceeds(largest!, bedside.Settings.DeficitUrgentFrom))
            return ByReadings(bedside, largest!, urgent: true, limits);
        if (critical && Exceeds(largest!, bedside.Settings.DeficitSaidFrom))
            return ByReadings(bedside, largest!, urgent: false, limits);
        if (standing is null ? certain is not null : amount > clearing)
        {
            return ByReadings(bedside, (certain ?? largest)!, urgent: false, limits);
        }

        return amount >= limits.Warning
            ? new Finding.Undecided(
                $"{largest!.Says(bedside)}, which does not lie above 0. The limit is {limits.Says(urgent: false)}",
                "a weighed drainage, a bladder scan, or the next reading"
            )
            : new Finding.NotRaised();
    }

    /// <summary>Why the readings do not tell; null where they do.</summary>
    private static Finding? Unknown(Bedside bedside)
    {
        if ((Awaited.Undecided(bedside) ?? OutflowDoubt.Undecided(bedside)) is { } undecided)
            return undecided;
        return bedside.Latest switch
        {
            null => new Finding.Undecided("irrigant is charted and no drainage was read", "a reading of the drainage"),
            { Worked: null } latest => new Finding.Undecided(
                $"what drained or ran in from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)} is not known",
                "readings of the bag and of the drainage"
            ),
            _ => null,
        };
    }

    private static Finding.Raised ByScan(Bedside bedside, BladderScanned scan, Limits limits)
    {
        var urgent = IsCritical(bedside, scan.Held, limits.Critical);
        var says = $"bladder scan of {scan.Held} at {bedside.Said(scan.At)} with the drain open. The limit is {limits.Says(urgent)}.";
        return new(Priority(urgent), says) { Evidence = [Evidence.Of(scan)] };
    }

    private static Finding.Raised ByReadings(Bedside bedside, Deficit deficit, bool urgent, Limits limits)
    {
        var doubtful = urgent ? Doubtful(bedside, deficit, limits.Warning) : null;
        return new(Priority(urgent), $"{deficit.Says(bedside)}. The limit is {limits.Says(urgent)}.{doubtful?.Says}")
        {
            Evidence = [Evidence.Of(deficit.Latest), .. DoubtfulEntry.EvidenceOf(doubtful)],
        };
    }

    /// <summary>The entry in doubt without whose interval nothing would be said; null where there is none.</summary>
    private static DoubtfulEntry? Doubtful(Bedside bedside, Deficit deficit, Volume warning)
    {
        foreach (var interval in bedside.Balance.Reaching(FluidBalance.Bladder, deficit.Since, deficit.UpTo))
        {
            if (interval.Worked is not { } worked)
                continue;
            var held = (interval.RetainedChange ?? Volume.Zero) - worked.Charted;
            if (deficit.Amount - held < warning)
                return DoubtfulEntry.Of(bedside, interval);
        }

        return null;
    }

    private static bool IsCritical(Bedside bedside, Volume amount, Volume critical)
    {
        var was = bedside.Standing("outflow-deficit")?.Latest.Priority == FlagPriority.Urgent;
        return amount >= (was ? critical * bedside.Settings.ClearAt : critical);
    }

    /// <summary>Whether the deficit is more than so many of its own standard uncertainties; where those are not known it counts.</summary>
    private static bool Exceeds(Deficit deficit, decimal uncertainties)
    {
        if (deficit.Interval95 is not { } range)
            return true;
        var (mean, u) = ((range.Low + range.High).Millilitres / 2, (range.High - range.Low).Millilitres / 4);
        return mean > uncertainties * u;
    }

    private static FlagPriority Priority(bool urgent) => urgent ? FlagPriority.Urgent : FlagPriority.High;

    /// <summary>A scan that tells what the open bladder holds now: nothing was read since.</summary>
    private static BladderScanned? Scan(Bedside bedside) =>
        bedside.Clamped is null
        && bedside.Log[Channel.Scan].LastAtOrBefore(bedside.At) is BladderScanned scan
        && scan.At >= (bedside.Latest?.End ?? bedside.Log.Frame.Start)
            ? scan
            : null;

    /// <summary>From how much on it warns and is critical.</summary>
    /// <param name="Warning">The warning.</param>
    /// <param name="Critical">Critical.</param>
    /// <param name="Whence">Whose limits they are, after a comma; empty for an adult's.</param>
    internal sealed record Limits(Volume Warning, Volume Critical, string Whence)
    {
        /// <summary>One of the two, and whence.</summary>
        public string Says(bool urgent) => $"{(urgent ? Critical : Warning)}{Whence}";
    }
}
