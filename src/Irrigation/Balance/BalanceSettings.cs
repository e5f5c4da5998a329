using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>Settings of the balance. Every default that rests on our own judgement says so.</summary>
public sealed record BalanceSettings
{
    /// <summary>The defaults.</summary>
    public static BalanceSettings Default { get; } = new();

    /// <summary>The characters of the measuring ways.</summary>
    public MeasuringCharacters Characters { get; init; } = MeasuringCharacters.Default;

    /// <summary>Whether the best estimate is the headline. Default no; for a site that has calibrated its bags and containers.</summary>
    [Setting(0, 1)]
    public bool BestEstimateIsHeadline { get; init; }

    /// <summary>How far from a closing reading a bladder scan may lie and still anchor it. Default 15 min; our judgement.</summary>
    [Setting(0, 120, "min")]
    public Duration ScanReach { get; init; } = Duration.FromMinutes(15);

    /// <summary>
    /// How long before the clamp a syringe may be given and still be what is left to dwell. Default 15 min; our judgement.
    /// </summary>
    [Setting(0, 120, "min")]
    public Duration DwellLead { get; init; } = Duration.FromMinutes(15);

    /// <summary>
    /// For how long the flow of a bag may be unknown and the bag before it tell it: a short unknown widens the interval and does not erase
    /// it. Default 15 min; our judgement.
    /// </summary>
    [Setting(0, 120, "min")]
    public Duration ShortUnknown { get; init; } = Duration.FromMinutes(15);

    /// <summary>
    /// How much lower than before a level may be read without being a reset. Default 100 mL, a reading error of a drainage bag; our
    /// judgement.
    /// </summary>
    [Setting(0, 1000, "mL")]
    public Volume LevelTolerance { get; init; } = Volume.FromMillilitres(100);

    /// <summary>Density of mixed drainage in g/mL where none is charted. Default 1.006 (clinical reference 1.11, worked example).</summary>
    [Setting(0.99, 1.1, "g/mL")]
    public decimal DrainageDensity { get; init; } = 1.006m;

    /// <summary>
    /// Containers that stand side by side and are read within so long of one another are read in one round. Default 15 min; our
    /// judgement.
    /// </summary>
    [Setting(0, 120, "min")]
    public Duration ReadTogether { get; init; } = Duration.FromMinutes(15);

    /// <summary>How far back the first reading of a route outside the bladder is spread. Default 6 h; our judgement.</summary>
    [Setting(0.1, 48, "h")]
    public Duration FirstReadingReach { get; init; } = Duration.FromHours(6);

    /// <summary>An interval longer than this is called a gap, and never feeds a reading by the hour. Default 6 h; our judgement.</summary>
    [Setting(0.5, 48, "h")]
    public Duration LongestGap { get; init; } = Duration.FromHours(6);

    /// <summary>
    /// Of an interval longer than this only the last so many days are apportioned to hours, shifts and days: a mistyped start must
    /// not become a million hours. Default 31 days; our judgement.
    /// </summary>
    [Setting(1, 366, "d")]
    public Duration LongestApportioned { get; init; } = Duration.FromDays(31);

    /// <summary>
    /// An entry charted later than this after it happened is called late. Default 60 min; our judgement (published mean 47 min, Sci Rep
    /// 2021, s41598-021-97026-8).
    /// </summary>
    [Setting(1, 1440, "min")]
    public Duration LateAfter { get; init; } = Duration.FromMinutes(60);

    /// <summary>
    /// Flow above this is marked implausible for gravity. Default 6.5 L/h: free flow of 5.8 to 6.1 L/h was measured at 80 cm through
    /// 22 to 24 Fr three-way catheters (in-vitro study, clinical reference 2.7); the margin is our judgement.
    /// </summary>
    [Setting(100, 100000, "mL/h")]
    public FlowRate HighestGravityFlow { get; init; } = FlowRate.FromMillilitresPerHour(6500);

    /// <summary>A single volume above this is marked implausible. Default 10 L, twice the largest irrigation bag; our judgement.</summary>
    [Setting(100, 100000, "mL")]
    public Volume LargestVolume { get; init; } = Volume.FromLitres(10);

    /// <summary>
    /// More urine than this, even at the lower end of its interval, is doubted: no body makes it. Default 12 mL/kg/h: up to 20 L a day
    /// are told of diabetes insipidus (textbooks, from memory), which is 11.9 mL/kg/h at 70 kg.
    /// </summary>
    [Setting(1, 100, "mL/kg/h")]
    public decimal HighestUrineOutput { get; init; } = 12;

    /// <summary>
    /// The weight to take for that where none is charted. Default 100 kg, so that a heavy patient is not doubted; our judgement.
    /// </summary>
    [Setting(0.3, 400, "kg")]
    public decimal WeightWhereUnknown { get; init; } = 100;

    /// <summary>
    /// What drained is doubted from so many times on of what was to be expected (what ran in, and urine as in the hours before). Default 6,
    /// for a digit too many makes ten times; our judgement.
    /// </summary>
    [Setting(2, 20)]
    public decimal FarAbove { get; init; } = 6;

    /// <summary>And only from so much more than that on. Default 300 mL; our judgement.</summary>
    [Setting(10, 5000, "mL")]
    public Volume FarAboveBy { get; init; } = Volume.FromMillilitres(300);

    /// <summary>
    /// A drainage container holds no more than this. Default 4.4 L: a bag for continuous irrigation holds 4 L (common practice, no source),
    /// and a tenth beyond its last mark is our judgement.
    /// </summary>
    [Setting(100, 20000, "mL")]
    public Volume LargestContainer { get; init; } = Volume.FromMillilitres(4400);

    /// <summary>
    /// Two nearly equal emptyings of one container within so long may be one, charted twice. Default 10 min; our judgement.
    /// </summary>
    [Setting(0, 60, "min")]
    public Duration ChartedTwiceWithin { get; init; } = Duration.FromMinutes(10);

    /// <summary>They are nearly equal where they differ by no more than this part. Default 0.05; our judgement.</summary>
    [Setting(0, 0.5)]
    public decimal NearlyEqual { get; init; } = 0.05m;

    /// <summary>
    /// A cycle that begins sooner than this after the last of a run (its return, or the release of its clamp) belongs to that run, where
    /// nobody names it. Default 30 min; our judgement.
    /// </summary>
    [Setting(1, 480, "min")]
    public Duration RunGap { get; init; } = Duration.FromMinutes(30);

    /// <summary>
    /// What is read no later than this after an aliquot, or after the release of its clamp, is its return, where nobody names it. Default
    /// 60 min; our judgement. Later it is drainage like any other.
    /// </summary>
    [Setting(1, 480, "min")]
    public Duration ReturnWithin { get; init; } = Duration.FromMinutes(60);

    /// <summary>
    /// An aliquot above this is more than usual, and marked. Default 50 mL (closed system: 30 to 50 mL, common practice, no source).
    /// </summary>
    [Setting(1, 1000, "mL")]
    public Volume UsualAliquot { get; init; } = Volume.FromMillilitres(50);

    /// <summary>
    /// The same in open irrigation. Default 40 mL: about 30 mL (common practice, no source) and a margin that is our judgement.
    /// </summary>
    [Setting(1, 1000, "mL")]
    public Volume UsualOpenAliquot { get; init; } = Volume.FromMillilitres(40);
}
