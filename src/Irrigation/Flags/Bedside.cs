using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Measures;
using Irrigation.Runs;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>What the rules have to know of the patient besides the log.</summary>
/// <param name="Patient">Date of birth, if known, and the zone of the ward.</param>
/// <param name="BladderCapacity">If charted.</param>
/// <param name="SpinalLevel">Level of a spinal cord injury, e.g. <c>T4</c>; null where there is none on record.</param>
/// <param name="CatheterInserted">When the catheter was inserted that was there at the start, if known.</param>
/// <param name="CatheterType">What is on record of that catheter.</param>
/// <param name="HasEncounter">Whether the encounter is on record.</param>
/// <param name="DuringProcedure">Irrigated during an endoscopic procedure: the limits for absorbed irrigant apply.</param>
public sealed record PatientFacts(
    Patient Patient,
    Volume? BladderCapacity,
    string? SpinalLevel,
    Instant? CatheterInserted,
    CatheterFacts CatheterType,
    bool HasEncounter,
    bool DuringProcedure
)
{
    /// <summary>The systolic pressure that is usual for the patient; null where it is not on record.</summary>
    public Pressure? BaselineSystolic { get; init; }
}

/// <summary>What is on record of the catheter that was there at the start.</summary>
/// <param name="Type">The type.</param>
/// <param name="French">The size in Ch (French).</param>
/// <param name="Lumens">1 to 3.</param>
public sealed record CatheterFacts(string? Type, decimal? French, int? Lumens);

/// <summary>Every setting that a rule may ask for.</summary>
/// <param name="Flags">Thresholds of the flags.</param>
/// <param name="Criteria">Thresholds of the urine-output criteria.</param>
/// <param name="Forecasts">Capacities and limits.</param>
public sealed record FlagLimits(FlagSettings Flags, CriteriaSettings Criteria, ForecastSettings Forecasts)
{
    /// <summary>The defaults.</summary>
    public static FlagLimits Default { get; } = new(FlagSettings.Default, CriteriaSettings.Default, ForecastSettings.Default);
}

/// <summary>What a rule sees: everything that had happened by a moment, and nothing that came after.</summary>
/// <param name="Balance">The balance of what had happened.</param>
/// <param name="At">The moment.</param>
/// <param name="Facts">What is known of the patient.</param>
/// <param name="Limits">The settings.</param>
/// <param name="States">
/// How each rule stands, in the order of <see cref="FlagRules.All"/>: this moment's answer for those before, the last one's for the others.
/// </param>
public sealed record Bedside(FluidBalance Balance, Instant At, PatientFacts Facts, FlagLimits Limits, ImmutableArray<RuleState> States)
{
    private readonly RunsSeen? cycled;
    private readonly OutputsSeen? outputs;

    /// <summary>The runs of cycles; one and the same for all rules that look at a moment.</summary>
    public RunsSeen Cycled
    {
        get => cycled ?? new(Balance, At);
        init => cycled = value;
    }

    /// <summary>The outputs of trailing windows; one and the same for all rules that look at a moment.</summary>
    public OutputsSeen Outputs
    {
        get => outputs ?? new(Balance);
        init => outputs = value;
    }

    /// <summary>When the next irrigation, or dose, is due; null where no order says how often.</summary>
    public NextIrrigation? NextIrrigation => NextIrrigation.Of(Balance, At, Cycled);

    /// <summary>What would come when, if things go on as they are.</summary>
    public ImmutableArray<Forecast> Foretold =>
        Forecasts.Of(Balance, Facts.Patient.YearsAt(At), Facts.BladderCapacity, At, Limits.Forecasts);

    /// <summary>The log.</summary>
    public EpisodeLog Log => Balance.Log;

    /// <summary>Thresholds of the flags.</summary>
    public FlagSettings Settings => Limits.Flags;

    /// <summary>The flag of a rule while it stands; null where it does not.</summary>
    public FlagPeriod? Standing(string slug) => States[FlagRules.IndexOf(slug)].Open;

    /// <summary>
    /// When the flag of a rule last ended; null where none did. One that later entries show was never so is not among them.
    /// </summary>
    public Instant? LastEnded(string slug) => States[FlagRules.IndexOf(slug)].LastEnded;

    /// <summary>The last entry of a kind; null where there is none.</summary>
    public T? Last<T>()
        where T : Entry => Log[Slug.Of(typeof(T).Name)].LastAtOrBefore(At) as T;

    /// <summary>The order in force; null where none is on record or it was withdrawn.</summary>
    public OrderInForce? Order => Orders.InForce(Log, At);

    /// <summary>
    /// The dwell that is ordered, or was when the drain was clamped: what ends an order does not open a clamp. Null where none names one.
    /// </summary>
    public Duration? DwellOf(DrainClamped clamp) => Order?.Terms.Dwell ?? Orders.InForce(Log, clamp.At)?.Terms.Dwell;

    /// <summary>The clamp in force; null while the drain is open.</summary>
    public DrainClamped? Clamped => Log[Channel.Clamp].LastAtOrBefore(At) as DrainClamped;

    /// <summary>The latest closed interval of the bladder; null before the first.</summary>
    public ClosedInterval? Latest => Balance[FluidBalance.Bladder] is { Count: > 0 } closed ? closed[^1] : null;

    /// <summary>The lines that have entries.</summary>
    public IEnumerable<string> Lines => Channel.Lines(Log);

    /// <summary>How fast irrigant runs, all lines together; null where a line runs and nobody charted how fast.</summary>
    public FlowRate? Inflow => Forecasts.Inflow(Balance, At);

    /// <summary>Whether irrigant runs, or may run for all that is charted.</summary>
    public bool Runs => Inflow is not { } flow || flow > FlowRate.Stopped;

    /// <summary>Irrigant that runs plus the urine that is made; null where the former is not known.</summary>
    public FlowRate? Filling => Inflow is { } flow ? Forecasts.Sum(flow, Forecasts.Urine(Balance, At, Limits.Forecasts).Rate) : null;

    /// <summary>
    /// When irrigant began to run that runs now, as far back as it ran without a rest, and no further than a day; null where none runs.
    /// </summary>
    /// <remarks>A stop shorter than <see cref="FlagSettings.StaleAfterFast"/>, as for a change of bag, is no rest.</remarks>
    public Instant? RunsSince => RunningSince(Instant.MinValue);

    /// <summary>The same, and no further back than a moment before which it does not matter.</summary>
    internal Instant? RunningSince(Instant notBefore)
    {
        Instant? since = null;
        foreach (var line in Lines)
        {
            if (Balance.FlowAt(line, At) is { } none && none <= FlowRate.Stopped)
                continue;
            var began = Began(line, Instant.Max(notBefore, At - Duration.FromDays(1)));
            since = since is { } earlier ? Instant.Min(earlier, began) : began;
        }

        return since;
    }

    private Instant Began(string line, Instant notBefore)
    {
        var entries = Log[Channel.Line(line)];
        for (var i = entries.FirstAfter(At) - 1; i >= 0; i--)
        {
            var ran = entries[i].At;
            if (ran <= notBefore)
                return ran;
            if (!Stopped(line, ran))
                continue;

            // What stands between two entries was so from the first of them on.
            while (i > 0 && (entries[i].At == ran || Stopped(line, entries[i].At)))
                i--;
            if (i == 0 || ran - entries[i].At >= Settings.StaleAfterFast)
                return ran;
        }

        return entries[0].At;
    }

    private bool Stopped(string line, Instant until) =>
        Balance.FlowAt(line, until - Duration.Epsilon) is { } flow && flow <= FlowRate.Stopped;

    /// <summary>What the bladder is not to exceed, and whence.</summary>
    public (Volume Limit, string Whence) DistensionLimit => Limits.Forecasts.LimitFor(Facts.Patient.YearsAt(At), Facts.BladderCapacity);

    /// <summary>Whether the limits are this patient's own: of a bladder whose capacity is on record, or of a child.</summary>
    public bool HasOwnLimits => Limits.Forecasts.IsCapacity(Facts.BladderCapacity) || Facts.Patient.YearsAt(At) is >= 0 and < 18;

    /// <summary>A limit that is set for an adult's bladder, in the proportion of this one where it is smaller; never larger.</summary>
    /// <remarks>
    /// Only for what is about the bladder: what a container holds does not shrink with the patient, and what the body bears goes by
    /// its own size (<see cref="ForecastSettings.ForBodyOf"/>).
    /// </remarks>
    public Volume ForBladder(Volume adult)
    {
        var (limit, whole) = (DistensionLimit.Limit, Limits.Forecasts.DistensionLimit);
        return limit < whole ? adult.Share(limit.Millilitres, whole.Millilitres) : adult;
    }

    /// <summary>When a volume will have run at a flow, up to the next whole second; null where it never will.</summary>
    /// <remarks>
    /// Beware: looked at a nanosecond too early, a threshold is not reached yet and the time until it rounds to nothing, so that nobody
    /// would look again.
    /// </remarks>
    internal Instant? When(Volume volume, FlowRate flow)
    {
        if (Forecasts.TimeFor(volume, flow) is not { } time)
            return null;
        var second = NodaConstants.NanosecondsPerSecond;
        return At + Duration.FromNanoseconds((time.ToInt64Nanoseconds() + second - 1) / second * second);
    }

    /// <summary>A moment in the ward's time: the clock alone on the day of asking.</summary>
    public string Said(Instant instant) => Log.Frame.Said(instant, At);
}
