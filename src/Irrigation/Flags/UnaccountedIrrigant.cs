using Irrigation.Measures;

namespace Irrigation.Flags;

/// <summary>F10. A large amount of irrigant did not come back in an endoscopic procedure. On a ward the outflow deficit says it.</summary>
/// <remarks>
/// The limits are a hysteroscopy guideline's, borrowed; an irrigant whose words do not tell what it is gets the lower ones. They are about
/// what a body can bear and not about its bladder: a child's are smaller with its size, and a small bladder of an adult changes none.
/// </remarks>
public static class UnaccountedIrrigant
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "unaccounted-irrigant",
            "Unaccounted irrigant",
            FlagCategory.Clinical,
            "BSGE/ESGE 2016 (hysteroscopy), borrowed; who is at risk is our judgement",
            $"{Cautions.NotAbsorption} {Cautions.Cooling}",
            Judge,
            Looks.AtClosings
        );

    private static Finding Judge(Bedside bedside)
    {
        if (!bedside.Facts.DuringProcedure || bedside.Latest is not { } latest)
            return new Finding.NotRaised();
        if ((Awaited.Undecided(bedside) ?? OutflowDoubt.Undecided(bedside)) is { } undecided)
            return undecided;
        if (latest.Worked is null)
            return new Finding.Undecided(
                $"what drained or ran in from {bedside.Said(latest.Start)} to {bedside.Said(latest.End)} is not known",
                "readings of the bag and of the drainage"
            );
        var atRisk = !(bedside.Facts.Patient.YearsAt(bedside.At) < bedside.Settings.AtRiskFromYears);
        var solution = Irrigants.InUse(bedside);
        var hypotonic = Irrigants.IsHypotonic(solution) != false;
        var adult = (hypotonic, atRisk) switch
        {
            (true, true) => bedside.Settings.UnaccountedHypotonicAtRisk,
            (true, false) => bedside.Settings.UnaccountedHypotonic,
            (false, true) => bedside.Settings.UnaccountedIsotonicAtRisk,
            (false, false) => bedside.Settings.UnaccountedIsotonic,
        };
        var years = bedside.Facts.Patient.YearsAt(bedside.At);
        var limit = bedside.Limits.Forecasts.ForBodyOf(years, adult);
        var deficit = Deficit.Of(bedside);
        var amount = deficit?.Amount ?? Volume.Zero;
        var stands = bedside.Standing("unaccounted-irrigant") is not null;
        if (amount < (stands ? limit * bedside.Settings.ClearAt : limit))
            return new Finding.NotRaised();
        var kind = hypotonic ? "taken as hypotonic or without electrolytes" : "isotonic";
        var irrigant = solution is null ? "an irrigant that nobody named" : $"{solution}, {kind}";
        var whose =
            limit < adult ? $", a child of {years} years"
            : atRisk ? ", patient at risk or of unknown age"
            : "";
        return new Finding.Raised(FlagPriority.High, $"{deficit!.Says(bedside)}. The limit is {limit} for {irrigant}{whose}.")
        {
            Evidence = [Evidence.Of(latest)],
        };
    }
}
