using System.Collections.Immutable;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>A colour scale that a ward grades by.</summary>
/// <param name="Grades">How many grades it has; the highest is the bloodiest.</param>
public sealed record ColourScale([property: Setting(2, 20)] int Grades);

/// <summary>
/// Thresholds of the flags. No guideline says how much may stay behind, or how long nothing may drain, before a catheter is called
/// blocked: those numbers are local settings, and each says where its default comes from. What is in mL and about the bladder is an
/// adult's, and less for a smaller bladder, in proportion.
/// </summary>
public sealed record FlagSettings
{
    /// <summary>The defaults.</summary>
    public static FlagSettings Default { get; } = new();

    /// <summary>
    /// Outflow deficit, warning: irrigant not accounted for from here on, if the 95 % interval lies above 0. Default 200 mL (a teaching
    /// file; clinical reference 2.4); our judgement.
    /// </summary>
    [Setting(10, 2000, "mL")]
    public Volume DeficitWarning { get; init; } = Volume.FromMillilitres(200);

    /// <summary>
    /// Outflow deficit, critical: from here on; it does not wait for the whole interval. Default 500 mL (adult bladder capacity, clinical
    /// reference 2.3); our judgement.
    /// </summary>
    [Setting(20, 5000, "mL")]
    public Volume DeficitCritical { get; init; } = Volume.FromMillilitres(500);

    /// <summary>
    /// The same as a part of the patient's own bladder capacity, where that is charted or follows from a child's age. Default 0.8; our
    /// judgement.
    /// </summary>
    [Setting(0.1, 1)]
    public decimal DeficitOfCapacity { get; init; } = 0.8m;

    /// <summary>
    /// A critical deficit is said from so many of its own standard uncertainties on: it does not wait for the whole interval (clinical
    /// reference 9). Default 1; our judgement.
    /// </summary>
    [Setting(0, 3)]
    public decimal DeficitSaidFrom { get; init; } = 1;

    /// <summary>
    /// And is urgent from so many on. Default 2; our judgement: by a flow that is off by 12 %, 500 mL are missing at a fast drip every few
    /// days, and nobody is to be called at once for that. At 0 it is urgent whatever its interval.
    /// </summary>
    [Setting(0, 3)]
    public decimal DeficitUrgentFrom { get; init; } = 2;

    /// <summary>How far back a deficit is added up. Default 24 h; our judgement.</summary>
    [Setting(1, 72, "h")]
    public Duration DeficitReach { get; init; } = Duration.FromHours(24);

    /// <summary>
    /// A raised deficit is cleared when it has fallen to this part of its threshold, so that a value on the threshold does not flap.
    /// Default 0.75; our judgement.
    /// </summary>
    [Setting(0.1, 1)]
    public decimal ClearAt { get; init; } = 0.75m;

    /// <summary>
    /// A distension that was felt is over when a bladder scan after it shows no more than this; less in a small bladder, in proportion.
    /// Default 100 mL, a fifth of an adult's limit; our judgement.
    /// </summary>
    [Setting(0, 500, "mL")]
    public Volume DistensionOverAt { get; init; } = Volume.FromMillilitres(100);

    /// <summary>
    /// No drainage: nothing drained for so long, or for the time in which <see cref="DeficitWarning"/> runs in, whichever is shorter.
    /// Default 30 min (an exam item; clinical reference 2.4); our judgement.
    /// </summary>
    [Setting(1, 240, "min")]
    public Duration NoDrainageFor { get; init; } = Duration.FromMinutes(30);

    /// <summary>What counts as nothing between two readings; less for a small bladder. Default 0 mL, as read; our judgement.</summary>
    [Setting(0, 100, "mL")]
    public Volume NoDrainageUpTo { get; init; } = Volume.Zero;

    /// <summary>
    /// Two readings further apart than this leave a hole in the charting: what drained in between may have been emptied and not charted.
    /// Over a hole no-drainage is not said, but that the drainage was not read. Default 120 min, twice the hourly check; our judgement.
    /// </summary>
    [Setting(30, 1440, "min")]
    public Duration HoleAfter { get; init; } = Duration.FromMinutes(120);

    /// <summary>
    /// An urgent flag that rests on one entry names it where it departs from what came before by more than this factor. Default 3; our
    /// judgement.
    /// </summary>
    [Setting(1.5, 100)]
    public decimal DepartsBy { get; init; } = 3;

    /// <summary>
    /// Irrigation runs and the drainage was not read for so long. Default 60 min (hourly checks in teaching texts; clinical reference 2.4).
    /// </summary>
    [Setting(5, 480, "min")]
    public Duration StaleAfter { get; init; } = Duration.FromMinutes(60);

    /// <summary>
    /// The same above <see cref="FastFlow"/>; shorter still where the distension limit would be reached sooner. Default 15 min; our
    /// judgement.
    /// </summary>
    [Setting(1, 120, "min")]
    public Duration StaleAfterFast { get; init; } = Duration.FromMinutes(15);

    /// <summary>
    /// A reading that is overdue by this part of its time grows more urgent with what ran in unseen: high from what the outflow deficit
    /// warns at, urgent from what the bladder is not to exceed. Default 0.25, 15 min of an hour, so that a round that is a little late
    /// stays a reminder; our judgement.
    /// </summary>
    [Setting(0, 10)]
    public decimal StaleGrowsAfter { get; init; } = 0.25m;

    /// <summary>A flow above this is fast. Default 1 L/h; our judgement.</summary>
    [Setting(100, 10000, "mL/h")]
    public FlowRate FastFlow { get; init; } = FlowRate.FromMillilitresPerHour(1000);

    /// <summary>
    /// Urine-output criterion, anuria, oliguria, polyuria, low hourly output: the probability from which the flag is raised though the
    /// criterion is not certainly met. Default 1, only where the whole 95 % interval lies on its side; our judgement.
    /// </summary>
    [Setting(0.5, 1)]
    public decimal CriterionRaisedFrom { get; init; } = 1;

    /// <summary>
    /// The same flags: the probability from which they are raised as possible, one priority lower and with "confirm the measurement
    /// first". Default 0.7; our judgement: on simulated beds fewer than 5 in 1000 h are wrong. 1 raises none.
    /// </summary>
    [Setting(0.5, 1)]
    public decimal CriterionPossibleFrom { get; init; } = 0.7m;

    /// <summary>
    /// The same flags: one that stands is cleared when the criterion is less probable than this, and whenever it is not met. Default
    /// 0.4, well below what raises a possible one, so that none comes and goes with each reading; our judgement. At 0 only not met clears.
    /// </summary>
    [Setting(0, 0.9)]
    public decimal CriterionClearedBelow { get; init; } = 0.4m;

    /// <summary>
    /// Post-obstructive diuresis: at least this in each of two consecutive hours. Default 200 mL (LITFL, a teaching text; clinical
    /// reference 2.2).
    /// </summary>
    [Setting(50, 2000, "mL")]
    public Volume DiuresisPerHour { get; init; } = Volume.FromMillilitres(200);

    /// <summary>
    /// Post-obstructive diuresis: or at least this in 24 h. Default 3000 mL (LITFL, a teaching text; clinical reference 2.2).
    /// </summary>
    [Setting(500, 20000, "mL")]
    public Volume DiuresisPerDay { get; init; } = Volume.FromMillilitres(3000);

    /// <summary>How long after an obstruction was relieved it is looked for. Default 48 h (clinical reference, F9).</summary>
    [Setting(1, 168, "h")]
    public Duration DiuresisWithin { get; init; } = Duration.FromHours(48);

    /// <summary>
    /// Unaccounted irrigant in a procedure, isotonic. Default 2500 mL (BSGE/ESGE 2016, a hysteroscopy guideline, borrowed).
    /// </summary>
    [Setting(100, 10000, "mL")]
    public Volume UnaccountedIsotonic { get; init; } = Volume.FromMillilitres(2500);

    /// <summary>The same for a patient at risk. Default 1500 mL (BSGE/ESGE 2016, borrowed).</summary>
    [Setting(100, 10000, "mL")]
    public Volume UnaccountedIsotonicAtRisk { get; init; } = Volume.FromMillilitres(1500);

    /// <summary>
    /// Unaccounted irrigant in a procedure, hypotonic or without electrolytes. Default 1000 mL (BSGE/ESGE 2016, borrowed).
    /// </summary>
    [Setting(100, 10000, "mL")]
    public Volume UnaccountedHypotonic { get; init; } = Volume.FromMillilitres(1000);

    /// <summary>The same for a patient at risk. Default 750 mL (BSGE/ESGE 2016, borrowed).</summary>
    [Setting(100, 10000, "mL")]
    public Volume UnaccountedHypotonicAtRisk { get; init; } = Volume.FromMillilitres(750);

    /// <summary>
    /// From this age on a patient is taken to be at risk of absorbed irrigant, and so is one of unknown age. Default 65; our judgement
    /// ("elderly" in the same source).
    /// </summary>
    [Setting(18, 120)]
    public int AtRiskFromYears { get; init; } = 65;

    /// <summary>
    /// Colour scales in use, by the name that entries give them; of a scale that is not named here nobody knows the top two grades.
    /// </summary>
    public ImmutableSortedDictionary<string, ColourScale> Scales { get; init; } = ImmutableSortedDictionary<string, ColourScale>.Empty;

    /// <summary>Bloody drainage or clots: the flow is raised or somebody called within this. Default 15 min; our judgement.</summary>
    [Setting(1, 240, "min")]
    public Duration AnswerColourWithin { get; init; } = Duration.FromMinutes(15);

    /// <summary>Clear drainage for so long: the flow is reviewed. Default 12 h (teaching text on weaning; clinical reference 7).</summary>
    [Setting(1, 72, "h")]
    public Duration ReviewClearAfter { get; init; } = Duration.FromHours(12);

    /// <summary>
    /// Light drainage, no clots and a free outflow for so long are the conditions for weaning. Default 12 h (teaching text on weaning;
    /// clinical reference 7).
    /// </summary>
    [Setting(1, 72, "h")]
    public Duration WeaningAfter { get; init; } = Duration.FromHours(12);

    /// <summary>Up to this grade of the site's own scale drainage is light. Default 2; our judgement.</summary>
    [Setting(1, 20)]
    public int WeaningGrade { get; init; } = 2;

    /// <summary>A look older than this does not tell whether the drainage is light now. Default 4 h; our judgement.</summary>
    [Setting(0.25, 24, "h")]
    public Duration WeaningLookedWithin { get; init; } = Duration.FromHours(4);

    /// <summary>While the drain is clamped somebody is with the patient at least so often. Default 30 min; our judgement.</summary>
    [Setting(1, 240, "min")]
    public Duration DwellAttendedEvery { get; init; } = Duration.FromMinutes(30);

    /// <summary>An irrigant bag is low when it will be empty within this. Default 10 min (common practice, no source).</summary>
    [Setting(1, 120, "min")]
    public Duration BagLowWithin { get; init; } = Duration.FromMinutes(10);

    /// <summary>An irrigant bag is low when at most this part of it is left. Default 0.1 (common practice, no source).</summary>
    [Setting(0, 0.9)]
    public decimal BagLowPart { get; init; } = 0.1m;

    /// <summary>A drainage container this full is critical. Default 0.9; our judgement.</summary>
    [Setting(0.1, 1)]
    public decimal ContainerCritical { get; init; } = 0.9m;

    /// <summary>
    /// A drainage container that will reach the part to empty it at (<c>Forecasts:FillTo</c>) within this is nearly full. Default 30 min;
    /// our judgement.
    /// </summary>
    [Setting(0, 240, "min")]
    public Duration ContainerFullWithin { get; init; } = Duration.FromMinutes(30);

    /// <summary>
    /// Neomycin-polymyxin is used for no more than this. Default 10 days (US prescribing information; clinical reference 2.6).
    /// </summary>
    [Setting(1, 60, "d")]
    public Duration NeomycinDays { get; init; } = Duration.FromDays(10);

    /// <summary>
    /// A syringe of more than this is implausible; less into a small bladder, in proportion. Default 100 mL (clinical reference 2.7); our
    /// judgement.
    /// </summary>
    [Setting(20, 1000, "mL")]
    public Volume LargestSyringe { get; init; } = Volume.FromMillilitres(100);

    /// <summary>
    /// Autonomic dysreflexia: a systolic pressure more than this over the baseline counts, in adults with a spinal cord injury at or above
    /// T6. Default 20 mm[Hg] (Can-SCIP / PVA 2020; clinical reference 6 and 9).
    /// </summary>
    [Setting(5, 100, "mm[Hg]")]
    public Pressure DysreflexiaRise { get; init; } = Pressure.FromMillimetresOfMercury(20);

    /// <summary>
    /// For so long a blood pressure says how it is now. Default 15 min; our judgement (the source asks for a reading every 1 to 2 min).
    /// </summary>
    [Setting(1, 240, "min")]
    public Duration PressureReach { get; init; } = Duration.FromMinutes(15);

    /// <summary>A systolic pressure below this is implausible, and counts for nothing. Default 40 mm[Hg]; our judgement.</summary>
    [Setting(0, 100, "mm[Hg]")]
    public Pressure LeastSystolic { get; init; } = Pressure.FromMillimetresOfMercury(40);

    /// <summary>A systolic pressure above this is implausible, and counts for nothing. Default 300 mm[Hg]; our judgement.</summary>
    [Setting(150, 500, "mm[Hg]")]
    public Pressure MostSystolic { get; init; } = Pressure.FromMillimetresOfMercury(300);

    /// <summary>
    /// A reading in doubt that nobody confirmed or corrected is asked for so long after it. Default 24 h, as far back as the windows of
    /// the criteria reach; our judgement.
    /// </summary>
    [Setting(1, 168, "h")]
    public Duration DoubtStands { get; init; } = Duration.FromHours(24);

    /// <summary>A flag about a single entry stands so long after it. Default 12 h, a shift; our judgement.</summary>
    [Setting(1, 72, "h")]
    public Duration EntryFlagStands { get; init; } = Duration.FromHours(12);

    /// <summary>
    /// A stop of the irrigation, or a clamp without an ordered dwell, of at least this is taken for a trial to do without. Default 60 min:
    /// shorter is a change of bag, or a sample; our judgement.
    /// </summary>
    [Setting(5, 1440, "min")]
    public Duration TrialFrom { get; init; } = Duration.FromMinutes(60);

    /// <summary>What the record needs is asked for from so long after the irrigation began. Default 60 min; our judgement.</summary>
    [Setting(0, 480, "min")]
    public Duration RecordDueAfter { get; init; } = Duration.FromMinutes(60);

    /// <summary>
    /// The day of a catheter, counted by calendar days from 1, from which its indication is reviewed daily. Default 3: more than 2 days
    /// (NHSN, from memory).
    /// </summary>
    [Setting(1, 30)]
    public int ReviewFromDay { get; init; } = 3;

    /// <summary>
    /// Hours after local midnight at which catheters are counted once a day. Default 0 h, midnight; our judgement (the count is at one
    /// fixed time, NHSN, from memory).
    /// </summary>
    [Setting(0, 23, "h")]
    public Duration DailyCountAt { get; init; } = Duration.Zero;

    /// <summary>The same as a clock time.</summary>
    public LocalTime CountedAt => LocalTime.FromTicksSinceMidnight(DailyCountAt.BclCompatibleTicks);

    /// <summary>Hours after local midnight by which the indication is reviewed. Default 12 h, noon; our judgement.</summary>
    [Setting(0, 23, "h")]
    public Duration ReviewBy { get; init; } = Duration.FromHours(12);

    /// <summary>
    /// Short return of one cycle: what did not come back, as a part of its aliquot, from which on it is said; in a small bladder less, in
    /// proportion. Default 0.5, half an aliquot; our judgement, for common practice says no more than that all should come back.
    /// </summary>
    [Setting(0.05, 2)]
    public decimal ReturnShortOfCycle { get; init; } = 0.5m;

    /// <summary>
    /// The same over several cycles of a run, as a part of their mean aliquot. Default 1, one aliquot; our judgement.
    /// </summary>
    [Setting(0.05, 5)]
    public decimal ReturnShortOfRun { get; init; } = 1;

    /// <summary>Pain is said from so many of 10 on. Default 4 (common practice, no source: moderate pain).</summary>
    [Setting(1, 10)]
    public int PainFrom { get; init; } = 4;

    /// <summary>And is said as severe from so many of 10 on. Default 7 (common practice, no source: severe pain).</summary>
    [Setting(1, 10)]
    public int SeverePainFrom { get; init; } = 7;

    /// <summary>
    /// An irrigation, or a dose, that is due by the order's times a day is overdue so long after. Default 60 min; our judgement.
    /// </summary>
    [Setting(5, 720, "min")]
    public Duration OverdueAfter { get; init; } = Duration.FromMinutes(60);

    /// <summary>
    /// A dwell that was shorter than ordered by more than this differs from the order. Default 5 min, for charting is to the minute; our
    /// judgement.
    /// </summary>
    [Setting(0, 120, "min")]
    public Duration DwellShorterBy { get; init; } = Duration.FromMinutes(5);
}
