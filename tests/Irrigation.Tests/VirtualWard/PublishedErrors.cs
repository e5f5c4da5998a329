namespace Irrigation.Tests.VirtualWard;

/// <summary>
/// How wrong a ward's measurements are, by what was published and not by what the product works with: the product's own characters are
/// not read here, so that a default which is too bold or too timid shows as coverage. The sources are those of the clinical reference,
/// section 3.1; what is our judgement says so.
/// </summary>
/// <remarks>What a bed has of its own (bag type, container, roller clamp) is drawn once; what each reading has, each time.</remarks>
internal sealed class PublishedErrors(Random chance)
{
    /// <summary>0.9 % saline in g/mL at 20 °C (interpolated from a density table).</summary>
    public const double IrrigantDensity = 1.0046;

    /// <summary>The empty container, in g; charted with each weight. Our judgement.</summary>
    public const double Tare = 110;

    /// <summary>What the container holds before somebody has to empty it, in mL: a bag of 4 L is not let run full. Our judgement.</summary>
    public const double ContainerFull = 3500;

    /// <summary>
    /// How far a charted flow is off in all: 12 % (standard deviation), half of its variance the bed's own and half new at each setting.
    /// Our judgement: no paper compares the charted with the real flow of an irrigation (clinical reference 3.1, not found).
    /// </summary>
    private const double Flow = 0.12;

    /// <summary>
    /// Overfill of the bag type: 1.5 to 6.0 %, never underfill (Nezhat, JMIG 2007;14:489), and systematic within the type (Gynecol Surg
    /// 2015, 10397-015-0922-4).
    /// </summary>
    public double Overfill { get; } = chance.Within(0.015, 0.06);

    /// <summary>
    /// How much faster than in its middle a full bag runs, and slower an empty one. A drip slows as the bag empties (Anesth Pain Med
    /// 2025;20(3)). How much is our judgement: up to 8 %, for a bag is a quarter of a metre of a head of 80 cm, and the clamp does much.
    /// </summary>
    public double Slowing { get; } = chance.Within(0, 0.08);

    /// <summary>The part of the flow's error that stays with the bed, whatever is set.</summary>
    public double FlowOfBed { get; } = chance.Normal(Flow * Math.Sqrt(0.5));

    /// <summary>
    /// How far the container's scale is off: 3 % (standard deviation), for this container. Our judgement: no paper measures ordinary
    /// drainage bags; canisters read 8 to 18 % high (Gynecol Surg 2015), so this is kind.
    /// </summary>
    public double ContainerScale { get; } = chance.Normal(0.03);

    /// <summary>
    /// How much denser than others' this patient's urine is, in g/mL: all in all 1.001 to 1.030 (clinical reference 1.11), thinner the
    /// more there is of it.
    /// </summary>
    private readonly double concentration = chance.Within(-0.004, 0.004);

    /// <summary>The part of the flow's error that a new setting has.</summary>
    public double FlowOfSetting() => chance.Normal(Flow * Math.Sqrt(0.5));

    /// <summary>Left in a bag that was run to empty: 0 to 60 mL (IJPPS 2016: under 2 % of what is declared, in most).</summary>
    public double Residue() => chance.Within(0, 60);

    /// <summary>
    /// A reading off the container's marks, to 10 mL: its own error is up to 50 mL (clinical reference 3.3), and of a little no more than
    /// half of it and the first mark: nobody takes 60 mL for 10 (common practice, no source).
    /// </summary>
    public double ByMarks(double content)
    {
        var most = Math.Min(50, 5 + (content / 2));
        return Math.Max(0, Math.Round(((content * (1 + ContainerScale)) + chance.Within(-most, most)) / 10) * 10);
    }

    /// <summary>The container on a scale, in g: ±5 g (clinical reference 3.3).</summary>
    public double OnTheScale(double irrigant, double urine, double urinePerKilogramHour) =>
        Math.Round((irrigant * IrrigantDensity) + (urine * UrineDensity(urinePerKilogramHour)) + Tare + chance.Within(-5, 5));

    /// <summary>How far the marks of one bag are off, in mL: the part that all readings of this bag share.</summary>
    public double MarksOfBag() => chance.Normal(BagMarks * Math.Sqrt(0.5));

    /// <summary>What is left in a bag, read off its marks, to 10 mL.</summary>
    public double LeftByMarks(double left, double marksOfBag) =>
        Math.Max(0, Math.Round((left + marksOfBag + chance.Normal(BagMarks * Math.Sqrt(0.5))) / 10) * 10);

    /// <summary>
    /// Minutes between what happened and the time charted for it: 3 min (standard deviation). Our judgement; round a urine meter it was
    /// ±7.4 min on average (Crit Care 2015, s13054-015-0899-4).
    /// </summary>
    public double Minutes() => chance.Normal(3);

    /// <summary>Minutes until it is charted: median 18, mean 47, at most 6 h (Sci Rep 2021, s41598-021-97026-8).</summary>
    public double MinutesLate() => Math.Min(360, 18 * Math.Exp(chance.Normal(1.386)));

    /// <summary>Marks of a bag: up to about 200 mL wrong (JKMS 2022;37:e345, 1 L bags), taken as two standard deviations.</summary>
    private const double BagMarks = 100;

    private double UrineDensity(double perKilogramHour) => 1.026 - (0.014 * Math.Min(1.5, perKilogramHour)) + concentration;
}
