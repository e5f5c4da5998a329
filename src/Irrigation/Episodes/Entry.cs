using System.Collections.Immutable;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Episodes;

/// <summary>How a content was measured. Systematic and random errors differ by way, so it travels with each volume.</summary>
public enum MeasuringWay
{
    /// <summary>The amount printed on the label.</summary>
    Label,

    /// <summary>Read off a scale printed on a bag, meter or container.</summary>
    Graduation,

    /// <summary>Weighed.</summary>
    Weighed,

    /// <summary>Counted by a pump.</summary>
    Pump,

    /// <summary>Drawn up in a syringe.</summary>
    Syringe,

    /// <summary>Counted drops.</summary>
    Drops,

    /// <summary>Bladder scan.</summary>
    Scan,

    /// <summary>Judged by eye.</summary>
    Estimate,
}

/// <summary>What drainage was measured in. Its marks say how far a reading may be off.</summary>
public enum Vessel
{
    /// <summary>The bag that hangs on the catheter.</summary>
    DrainageBag,

    /// <summary>A syringe that the return was drawn back into.</summary>
    Syringe,

    /// <summary>A graduated basin or dish that the return ran into.</summary>
    Basin,

    /// <summary>A measuring jug.</summary>
    Jug,
}

/// <summary>Whether an entry is about the patient. Test, demonstration and calibration data never alter a clinical total.</summary>
public enum Purpose
{
    /// <summary>About the patient.</summary>
    Clinical,

    /// <summary>A test of the line or the interface.</summary>
    Test,

    /// <summary>A demonstration.</summary>
    Demo,

    /// <summary>A calibration of a device or container.</summary>
    Calibration,
}

/// <summary>The way urine took that was collected elsewhere than through the irrigated drainage.</summary>
public enum UrineRoute
{
    /// <summary>Voided.</summary>
    Void,

    /// <summary>Condom (sheath) catheter.</summary>
    CondomCatheter,

    /// <summary>In-and-out catheter.</summary>
    StraightCatheter,

    /// <summary>The indwelling urethral catheter, while nothing is irrigated.</summary>
    UrethralCatheter,

    /// <summary>Suprapubic catheter.</summary>
    SuprapubicCatheter,

    /// <summary>Left nephrostomy: urine that never reached the bladder.</summary>
    LeftNephrostomy,

    /// <summary>Right nephrostomy: urine that never reached the bladder.</summary>
    RightNephrostomy,

    /// <summary>Left ureteral stent led out: urine that never reached the bladder.</summary>
    LeftUreteralStent,

    /// <summary>Right ureteral stent led out: urine that never reached the bladder.</summary>
    RightUreteralStent,

    /// <summary>Ileal conduit: urine that never reached the bladder.</summary>
    IlealConduit,
}

/// <summary>An entry's identity: unique per source, given by the sender.</summary>
/// <param name="Source">Who sends: a ward system, a gateway, a device. 1 to 200 characters.</param>
/// <param name="Id">The sender's own id. 1 to 200 characters.</param>
public readonly record struct EntryKey(string Source, string Id)
{
    /// <summary>Ordinal, source first: breaks ties the same way whatever the order of arrival.</summary>
    public static int Compare(EntryKey left, EntryKey right)
    {
        var bySource = string.CompareOrdinal(left.Source, right.Source);
        return bySource != 0 ? bySource : string.CompareOrdinal(left.Id, right.Id);
    }

    /// <summary><c>source/id</c>.</summary>
    public override string ToString() => $"{Source}/{Id}";
}

/// <summary>What every entry says besides its content.</summary>
public sealed record EntryHeader(EntryKey Key, Instant At)
{
    /// <summary>Start, for an entry about a period; <see cref="At"/> is then its end. Always before it.</summary>
    public Instant? From { get; init; }

    /// <summary>When it was charted, if the sender knows it. May lie before <see cref="At"/>: some chart in advance.</summary>
    public Instant? RecordedAt { get; init; }

    /// <summary>How the content was measured, if told.</summary>
    public MeasuringWay? How { get; init; }

    /// <summary>Who did or saw it, as the sender identifies them.</summary>
    public string? Performer { get; init; }

    /// <summary>The device that measured it, as the sender identifies it.</summary>
    public string? Device { get; init; }

    /// <summary>Whether it is about the patient at all.</summary>
    public Purpose Purpose { get; init; }

    /// <summary>Free text.</summary>
    public string? Note { get; init; }

    /// <summary>
    /// The run of cycles (an intermittent or open irrigation) that it is part of, as the sender calls it; null where nobody said: then
    /// the run is found by time. 1 to 64 characters.
    /// </summary>
    public string? Run { get; init; }

    /// <summary>The cycle of that run, counted from 1; null where nobody said.</summary>
    public int? Cycle { get; init; }

    /// <summary>
    /// What the sender said in a language of its own, if the entry was translated. Opaque here: kept, compared, never read.
    /// </summary>
    public string? Original { get; init; }

    /// <summary>Whether two readings are of devices that are known and differ: their counters have nothing in common.</summary>
    public bool IsOfAnotherDeviceThan(EntryHeader other) => Device is not null && other.Device is not null && Device != other.Device;
}

/// <summary>Something that happened at the bedside, in the past tense.</summary>
/// <remarks>
/// Two entries are equal when they say the same. To add a kind: a record here, a line in <see cref="EntryKinds"/>, its
/// reading in the service, and what the balance makes of it.
/// </remarks>
/// <param name="Header">Identity, times, measuring way, people.</param>
public abstract record Entry(EntryHeader Header)
{
    /// <summary>When it happened; the end, for a period.</summary>
    public Instant At => Header.At;

    /// <summary>Source and id.</summary>
    public EntryKey Key => Header.Key;

    /// <summary>The kind's slug, e.g. <c>bag-hung</c>.</summary>
    public string Kind => EntryKinds.SlugOf(this);
}

/// <summary>An irrigant bag was hung on a line.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Line">The irrigation line; <c>1</c> where a patient has only one.</param>
/// <param name="Labelled">What the label says it holds.</param>
/// <param name="Bag">The bag's own id, if charted.</param>
/// <param name="BagType">The bag's type, if charted: overfill is a property of the type.</param>
/// <param name="Solution">What it holds.</param>
/// <param name="TubingPrime">What stayed in, or was run to waste through, a new giving set and never reached the bladder.</param>
public sealed record BagHung(
    EntryHeader Header,
    string Line,
    Volume Labelled,
    string? Bag,
    string? BagType,
    string? Solution,
    Volume? TubingPrime
) : Entry(Header);

/// <summary>What is left in the hanging bag was read.</summary>
public sealed record BagRead(EntryHeader Header, string Line, Volume Remaining) : Entry(Header)
{
    /// <summary>The bag's own id: which of several on one line (a Y-set); null for the one that runs.</summary>
    public string? Bag { get; init; }
}

/// <summary>The bag was taken down.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Line">The irrigation line.</param>
/// <param name="Remaining">What was left in it; null where nobody charted it, which is not 0.</param>
public sealed record BagTakenDown(EntryHeader Header, string Line, Volume? Remaining) : Entry(Header)
{
    /// <summary>The bag's own id: which of several on one line (a Y-set); null for the one that runs.</summary>
    public string? Bag { get; init; }
}

/// <summary>An amount of irrigant was instilled: a total over a period, or a syringe at an instant.</summary>
/// <remarks>
/// With <see cref="EntryHeader.From"/> it ran evenly over that period. Without, a syringe counts at its instant, and any other
/// total is spread back to the previous reading of the same line.
/// </remarks>
public sealed record IrrigantInstilled(EntryHeader Header, string Line, Volume Amount) : Entry(Header)
{
    /// <summary>Given at one instant rather than run in.</summary>
    public bool AtOnce => Header.From is null && (Header.How == MeasuringWay.Syringe || IsNamed);

    /// <summary>Given by the aliquot: by syringe at one instant, or as part of a cycle that the sender names.</summary>
    public bool IsAliquot => AtOnce || IsNamed;

    private bool IsNamed => Header.Run is not null || Header.Cycle is not null;

    /// <summary>The solution; null where nobody said.</summary>
    public string? Solution { get; init; }

    /// <summary>What was added to it; null where nobody said.</summary>
    public string? Additive { get; init; }

    /// <summary>Lot of the additive, or of the solution where nothing was added.</summary>
    public string? Lot { get; init; }

    /// <summary>Its last day of use.</summary>
    public LocalDate? Expiry { get; init; }

    /// <summary>What was meant to be given, where less was: the aliquot was not given in full. Null where it was, or nobody said.</summary>
    public Volume? Intended { get; init; }

    /// <summary>Whether resistance was met; null where nobody said.</summary>
    public bool? Resistance { get; init; }
}

/// <summary>The flow of a line was set; 0 stops it.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Line">The irrigation line.</param>
/// <param name="Rate">The flow in mL/h, worked out from the drops where those were counted.</param>
/// <param name="DropsPerMinute">The counted drops, if that is how it was charted.</param>
/// <param name="DropFactor">The set's drop factor; always there with drops.</param>
public sealed record FlowSet(EntryHeader Header, string Line, FlowRate Rate, decimal? DropsPerMinute, DropFactor? DropFactor)
    : Entry(Header);

/// <summary>The running total of a pump was read: a counter, not an amount.</summary>
/// <param name="Header">Identity, times, device.</param>
/// <param name="Line">The irrigation line.</param>
/// <param name="Total">What the counter shows.</param>
/// <param name="Restarted">The counter began again at 0 since the previous reading and lost nothing: the total is what ran since.</param>
public sealed record PumpTotalRead(EntryHeader Header, string Line, Volume Total, bool Restarted) : Entry(Header);

/// <summary>Irrigant left its bag and never reached the bladder: spilt, run to waste, or drawn up and discarded.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Line">The irrigation line.</param>
/// <param name="Amount">How much, in mL; 0 or more.</param>
public sealed record IrrigantDiscarded(EntryHeader Header, string Line, Volume Amount) : Entry(Header);

/// <summary>The drainage container was emptied, and held so much.</summary>
public sealed record DrainageEmptied(EntryHeader Header, string Container, Volume Drained) : Entry(Header)
{
    /// <summary>What it was measured in; null where nobody said.</summary>
    public Vessel? Vessel { get; init; }
}

/// <summary>The level in the drainage container was read, and the container not emptied.</summary>
public sealed record DrainageLevelRead(EntryHeader Header, string Container, Volume Level) : Entry(Header)
{
    /// <summary>What it was measured in; null where nobody said.</summary>
    public Vessel? Vessel { get; init; }
}

/// <summary>The drainage container was weighed.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Container">The container.</param>
/// <param name="Gross">What the scale showed.</param>
/// <param name="Tare">The empty container, if the scale was not set to zero with it.</param>
/// <param name="GramsPerMillilitre">Density of the drainage, if known.</param>
/// <param name="Emptied">Whether it was emptied then.</param>
public sealed record DrainageWeighed(
    EntryHeader Header,
    string Container,
    Mass Gross,
    Mass? Tare,
    decimal? GramsPerMillilitre,
    bool Emptied
) : Entry(Header)
{
    /// <summary>What was weighed; null where nobody said.</summary>
    public Vessel? Vessel { get; init; }
}

/// <summary>
/// A drainage container was taken away and not read: it is read where it was brought, and what it then holds had drained by now.
/// </summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Container">The container.</param>
/// <param name="ReadAt">Where it is read, as the sender says it: the sluice, the laboratory; null where that is not charted.</param>
public sealed record ContainerTakenAway(EntryHeader Header, string Container, string? ReadAt) : Entry(Header);

/// <summary>
/// Blood or clots in what was drained: the term B of the mass balance. They were measured in the drainage and are no urine.
/// </summary>
/// <param name="Header">Identity, times, people, and how it was measured.</param>
/// <param name="Amount">How much, in mL, worked out from the mass where that was charted; 0 or more.</param>
/// <param name="Mass">The mass, if that is how it was charted.</param>
public sealed record BloodRemoved(EntryHeader Header, Volume Amount, Mass? Mass) : Entry(Header);

/// <summary>Somebody looked again at a reading that was doubted, and it is right.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Reading">The entry that is confirmed.</param>
public sealed record ReadingConfirmed(EntryHeader Header, EntryKey Reading) : Entry(Header);

/// <summary>Fluid leaked, bypassed the catheter or was spilt, and was estimated.</summary>
public sealed record LeakEstimated(EntryHeader Header, Volume Amount) : Entry(Header);

/// <summary>Urine, free of irrigant, was collected by another route than the irrigated drainage.</summary>
public sealed record UrineCollected(EntryHeader Header, UrineRoute Route, Volume Amount) : Entry(Header)
{
    /// <summary>Whether it came out of the bladder, and so belongs to the bladder's mass balance.</summary>
    public bool FromBladder =>
        Route switch
        {
            UrineRoute.Void
            or UrineRoute.CondomCatheter
            or UrineRoute.StraightCatheter
            or UrineRoute.UrethralCatheter
            or UrineRoute.SuprapubicCatheter => true,
            UrineRoute.LeftNephrostomy
            or UrineRoute.RightNephrostomy
            or UrineRoute.LeftUreteralStent
            or UrineRoute.RightUreteralStent
            or UrineRoute.IlealConduit => false,
        };
}

/// <summary>The drain was clamped: from here the bladder is shut (a dwell).</summary>
public sealed record DrainClamped(EntryHeader Header) : Entry(Header);

/// <summary>The clamp was released.</summary>
public sealed record DrainReleased(EntryHeader Header) : Entry(Header);

/// <summary>A bladder scan measured what the bladder holds.</summary>
public sealed record BladderScanned(EntryHeader Header, Volume Held) : Entry(Header);

/// <summary>The bladder was felt over the pubic bone.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Distended">Whether it was felt distended; null where not assessed.</param>
/// <param name="Tender">Whether it was tender; null where not assessed.</param>
public sealed record BladderPalpated(EntryHeader Header, bool? Distended, bool? Tender) : Entry(Header);

/// <summary>What the drainage looked like. Grades mean something only with the name of their scale, and are never converted.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Scale">The colour scale's name.</param>
/// <param name="Grade">The grade on that scale; higher is bloodier.</param>
/// <param name="Colour">The colour in a word.</param>
/// <param name="Clarity">clear, slightly-cloudy, cloudy or turbid.</param>
/// <param name="Clots">none, few, many; null where not looked for.</param>
/// <param name="Mucus">Mucus seen.</param>
/// <param name="Sediment">Sediment seen.</param>
/// <param name="Odour">Foul odour.</param>
public sealed record DrainageAppearance(
    EntryHeader Header,
    string? Scale,
    int? Grade,
    string? Colour,
    string? Clarity,
    string? Clots,
    bool? Mucus,
    bool? Sediment,
    bool? Odour
) : Entry(Header);

/// <summary>How the patient bore it.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Pain">0 to 10.</param>
/// <param name="Spasm">Bladder spasm.</param>
/// <param name="Tolerated">Tolerated well.</param>
public sealed record ToleranceNoted(EntryHeader Header, int? Pain, bool? Spasm, bool? Tolerated) : Entry(Header);

/// <summary>What an entry about the order does to the order in force.</summary>
public enum OrderChange
{
    /// <summary>Changes what it says and leaves the rest in force; where no order is, it begins one.</summary>
    Changes,

    /// <summary>Begins anew: what it leaves open is no longer ordered.</summary>
    Replaces,

    /// <summary>Ends it: nothing is ordered from then on.</summary>
    Withdraws,
}

/// <summary>How an order was given.</summary>
public enum OrderedHow
{
    /// <summary>In writing.</summary>
    Written,

    /// <summary>By telephone; whether it was read back is not on record.</summary>
    Telephone,

    /// <summary>By telephone, and read back to whoever gave it.</summary>
    TelephoneReadBack,

    /// <summary>By word of mouth, at the bedside.</summary>
    Verbal,
}

/// <summary>
/// What was ordered, or what changed of it. Every limit is the order's own; what the order in force (<see cref="Orders"/>) leaves open
/// stays open. Its time is from when it holds, whenever it was charted.
/// </summary>
public sealed record OrderSet(EntryHeader Header) : Entry(Header)
{
    /// <summary>What it does to the order in force.</summary>
    public OrderChange Change { get; init; }

    /// <summary>Who ordered it, as the sender identifies them; whoever took the order down is the performer.</summary>
    public string? OrderedBy { get; init; }

    /// <summary>How it was given; null where nobody said.</summary>
    public OrderedHow? OrderedHow { get; init; }

    /// <summary>The order's reference.</summary>
    public string? Order { get; init; }

    /// <summary>continuous, intermittent-manual, open, closed, tidal or instillation-dwell.</summary>
    public string? Method { get; init; }

    /// <summary>The solution and its concentration.</summary>
    public string? Solution { get; init; }

    /// <summary>A drug added.</summary>
    public string? Additive { get; init; }

    /// <summary>Ordered amount per irrigation.</summary>
    public Volume? Amount { get; init; }

    /// <summary>The time in which <see cref="Amount"/> is to run, so that the two order a flow; more than 0.</summary>
    public Duration? Over { get; init; }

    /// <summary>Drop factor of the giving set that it is to run through.</summary>
    public DropFactor? DropFactor { get; init; }

    /// <summary>Lower end of the ordered flow.</summary>
    public FlowRate? AtLeast { get; init; }

    /// <summary>Upper end of the ordered flow.</summary>
    public FlowRate? AtMost { get; init; }

    /// <summary>Ordered dwell.</summary>
    public Duration? Dwell { get; init; }

    /// <summary>How often, in words.</summary>
    public string? Frequency { get; init; }

    /// <summary>
    /// Ordered amount of one cycle; null where the order names none: then <see cref="Amount"/>, where cycles are ordered.
    /// </summary>
    public Volume? Aliquot { get; init; }

    /// <summary>Ordered number of cycles; null where the order names none.</summary>
    public int? Cycles { get; init; }

    /// <summary>Whether cycles go on until the return is clear; null where the order does not say.</summary>
    public bool? UntilClear { get; init; }

    /// <summary>How many irrigations in 24 h; null where the order does not say.</summary>
    public int? TimesPerDay { get; init; }

    /// <summary>For how many days of 24 h from the entry on; null where it does not say.</summary>
    public int? Days { get; init; }

    /// <summary>When it is over: what expires first; null where neither is said.</summary>
    public Instant? Ends => Days is { } days && At + Duration.FromDays(days) is var last ? (Until < last ? Until : last) : Until;

    /// <summary>Whether it asks for irrigation by cycles rather than a flow.</summary>
    public bool ByCycles => Method is "intermittent-manual" or "open" or "closed" or "instillation-dwell";

    /// <summary>The amount of one cycle; null where the order names none, or asks for a flow.</summary>
    public Volume? OfOneCycle => Aliquot ?? (Method is "continuous" ? null : Amount);

    /// <summary>What to titrate to.</summary>
    public string? Target { get; init; }

    /// <summary>Whom to call.</summary>
    public string? Contact { get; init; }

    /// <summary>When it expires; null where it does not say.</summary>
    public Instant? Until { get; init; }
}

/// <summary>Two identifiers were checked against the patient.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Identifiers">Which: e.g. <c>name</c>, <c>date-of-birth</c>, <c>wristband</c>. Sorted, each once.</param>
public sealed record IdentityChecked(EntryHeader Header, string Identifiers) : Entry(Header);

/// <summary>The patient was weighed, or a weight stated.</summary>
public sealed record WeightMeasured(EntryHeader Header, BodyWeight Weight) : Entry(Header);

/// <summary>The blood pressure was measured.</summary>
/// <remarks>
/// Context for the risk of autonomic dysreflexia. It is not published as an Observation: it is no measurement of the irrigation, and the
/// vital signs of the patient's record are the place for it.
/// </remarks>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Systolic">The systolic pressure.</param>
/// <param name="Diastolic">The diastolic pressure, if charted; never above the systolic.</param>
public sealed record BloodPressureMeasured(EntryHeader Header, Pressure Systolic, Pressure? Diastolic) : Entry(Header);

/// <summary>A catheter was inserted.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Type">The type of catheter.</param>
/// <param name="French">Its size in Ch (French), if known.</param>
/// <param name="Lumens">1, 2 or 3, if known.</param>
public sealed record CatheterInserted(EntryHeader Header, string? Type, decimal? French, int? Lumens) : Entry(Header)
{
    /// <summary>What its balloon was filled with, in mL; null where nobody said.</summary>
    public Volume? Balloon { get; init; }
}

/// <summary>The catheter was removed.</summary>
public sealed record CatheterRemoved(EntryHeader Header) : Entry(Header);

/// <summary>The closed system was opened.</summary>
public sealed record ClosedSystemOpened(EntryHeader Header, string? Reason) : Entry(Header);

/// <summary>Whether the catheter is still needed was reviewed.</summary>
public sealed record IndicationReviewed(EntryHeader Header, string? Indication, bool? StillNeeded) : Entry(Header);

/// <summary>A manual washout was done. Its volumes are charted as irrigant and drainage, so that nothing is counted twice.</summary>
public sealed record WashoutPerformed(EntryHeader Header, int? Cycles, bool? Cleared) : Entry(Header);

/// <summary>Why a run of cycles ended.</summary>
public enum StopReason
{
    /// <summary>The return was as it was to be.</summary>
    TargetReached,

    /// <summary>The ordered cycles were done.</summary>
    CyclesDone,

    /// <summary>Resistance was met.</summary>
    Resistance,

    /// <summary>Too little came back.</summary>
    ShortReturn,

    /// <summary>Pain or spasm.</summary>
    Pain,

    /// <summary>Bleeding.</summary>
    Bleeding,

    /// <summary>The patient asked to stop.</summary>
    Declined,

    /// <summary>Anything else; the note says what.</summary>
    Other,
}

/// <summary>A run of cycles ended, and why.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Why">Why; null where nobody said.</param>
public sealed record IrrigationStopped(EntryHeader Header, StopReason? Why) : Entry(Header);

/// <summary>Somebody was with the patient: at an instant, or for a period that has an end.</summary>
public sealed record PatientAttended(EntryHeader Header) : Entry(Header);

/// <summary>Steps of an irrigation that only a person can attest.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Done">Steps that were done: e.g. <c>port-cleaned</c>. Sorted, each once, between commas.</param>
/// <param name="NotDone">Steps that were not; which is recorded too. Sorted, each once, between commas.</param>
public sealed record StepsAttested(EntryHeader Header, string Done, string NotDone) : Entry(Header)
{
    /// <summary>Access port or connection cleaned with an antiseptic before it was opened.</summary>
    public const string PortCleaned = "port-cleaned";

    /// <summary>Cap and tube end kept sterile while the system was open.</summary>
    public const string CapKeptSterile = "cap-kept-sterile";

    /// <summary>Every step that can be attested.</summary>
    public static ImmutableArray<string> All { get; } = [PortCleaned, CapKeptSterile];

    /// <summary>Whether a step is spoken of at all, done or not.</summary>
    public bool Speaks(string step) => Done.Split(", ").Contains(step) || NotDone.Split(", ").Contains(step);
}

/// <summary>Somebody was called.</summary>
public sealed record Escalated(EntryHeader Header, string? To, string? Reason) : Entry(Header)
{
    /// <summary>The flag it was about: its slug, or the id of its resource; null where it was about none.</summary>
    public string? Flag { get; init; }
}

/// <summary>A flag was seen by a person.</summary>
/// <param name="Header">Identity, times, people.</param>
/// <param name="Flag">The flag: its slug, or the id of its resource.</param>
public sealed record FlagAcknowledged(EntryHeader Header, string Flag) : Entry(Header);

/// <summary>How a flag that had been told turned out otherwise.</summary>
public enum FlagRevision
{
    /// <summary>It was never so.</summary>
    NeverSo,

    /// <summary>It ended at another time, or had ended, or has not.</summary>
    EndsOtherwise,

    /// <summary>It is more, or less, urgent.</summary>
    OtherPriority,
}

/// <summary>
/// A flag that had been told was found to be otherwise, by entries that came late or put others right. Written by the service itself, and
/// taken from nobody else.
/// </summary>
/// <remarks>
/// Whether something had been told depends on when what arrived, and no look at what is in force shows it: so it is kept as what it is,
/// something that happened.
/// </remarks>
/// <param name="Header">Identity; the time is that of the arrival.</param>
/// <param name="Flag">The flag's slug.</param>
/// <param name="Since">Since when it had been said to stand.</param>
/// <param name="Revision">What of it is otherwise.</param>
public sealed record FlagRevised(EntryHeader Header, string Flag, Instant Since, FlagRevision Revision) : Entry(Header);

/// <summary>An earlier entry was made in error. It leaves every sum and stays in the log.</summary>
public sealed record EnteredInError(EntryHeader Header, string? Reason) : Entry(Header);

/// <summary>The slugs of all kinds of entry, in the order of the record.</summary>
public static class EntryKinds
{
    private static readonly ImmutableDictionary<Type, string> Slugs = ImmutableArray
        .Create(
            typeof(BagHung),
            typeof(BagRead),
            typeof(BagTakenDown),
            typeof(IrrigantInstilled),
            typeof(IrrigantDiscarded),
            typeof(FlowSet),
            typeof(PumpTotalRead),
            typeof(DrainageEmptied),
            typeof(DrainageLevelRead),
            typeof(DrainageWeighed),
            typeof(ContainerTakenAway),
            typeof(BloodRemoved),
            typeof(ReadingConfirmed),
            typeof(LeakEstimated),
            typeof(UrineCollected),
            typeof(DrainClamped),
            typeof(DrainReleased),
            typeof(BladderScanned),
            typeof(BladderPalpated),
            typeof(DrainageAppearance),
            typeof(ToleranceNoted),
            typeof(OrderSet),
            typeof(IdentityChecked),
            typeof(WeightMeasured),
            typeof(BloodPressureMeasured),
            typeof(CatheterInserted),
            typeof(CatheterRemoved),
            typeof(ClosedSystemOpened),
            typeof(IndicationReviewed),
            typeof(WashoutPerformed),
            typeof(IrrigationStopped),
            typeof(PatientAttended),
            typeof(StepsAttested),
            typeof(Escalated),
            typeof(FlagAcknowledged),
            typeof(FlagRevised),
            typeof(EnteredInError)
        )
        .ToImmutableDictionary(type => type, type => Slug.Of(type.Name));

    /// <summary>Every kind's slug.</summary>
    public static ImmutableSortedSet<string> All { get; } = [.. Slugs.Values];

    /// <summary>The slug of an entry's kind.</summary>
    public static string SlugOf(Entry entry) => Slugs[entry.GetType()];
}
