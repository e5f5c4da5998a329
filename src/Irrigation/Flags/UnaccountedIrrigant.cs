using Irrigation.Measures;

namespace Irrigation.Flags;

/// <summary>F10. A large amount of irrigant did not come back in an endoscopic procedure. On a ward the outflow deficit says it.</summary>
/// <remarks>The limits are a hysteroscopy guideline's, borrowed; an irrigant whose words do not tell what it is gets the lower ones.</remarks>
public static class UnaccountedIrrigant
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } = new(
        "unaccounted-irrigant",
        "Unaccounted irrigant",
        FlagCategory.Clinical,
        "BSGE/ESGE 2016 (hysteroscopy), borrowed; who is at risk is our judgement",
        $"{Cautions.NotAbsorption} {Cautions.Cooling}",
        Judge,
        Looks.AtClosings);

    private static Finding Judge(Bedside bedside)
    {
        if (!bedside.Facts.DuringProcedure || bedside.Latest is not { } latest) return new Finding.NotRaised();
        if (latest.Worked is null) return new Finding.Undecided($"what drained or ran in from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)} is not known", "readings of the bag and of the drainage");
        var atRisk = !(bedside.Facts.Patient.YearsAt(bedside.At) < bedside.Settings.AtRiskFromYears);
        var solution = Irrigants.InUse(bedside);
        var hypotonic = Irrigants.IsHypotonic(solution) != false;
        var limit = (hypotonic, atRisk) switch
        {
            (true, true) => bedside.Settings.UnaccountedHypotonicAtRisk,
            (true, false) => bedside.Settings.UnaccountedHypotonic,
            (false, true) => bedside.Settings.UnaccountedIsotonicAtRisk,
            (false, false) => bedside.Settings.UnaccountedIsotonic,
        };
        var deficit = Deficit.Of(bedside);
        var amount = deficit?.Amount ?? Volume.Zero;
        var stands = bedside.Standing("unaccounted-irrigant") is not null;
        if (amount < (stands ? limit * bedside.Settings.ClearAt : limit)) return new Finding.NotRaised();
        return new Finding.Raised(FlagPriority.High, $"{deficit!.Says(bedside)}; limit {limit} for {(solution is null ? "an irrigant that nobody named" : $"{solution}, {(hypotonic ? "taken as hypotonic or without electrolytes" : "isotonic")}")}{(atRisk ? ", patient at risk or of unknown age" : "")}.")
        {
            Evidence = [Evidence.Of(latest)],
        };
    }
}
