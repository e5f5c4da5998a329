using System.ComponentModel;
using System.ComponentModel.DataAnnotations;
using System.Text.Json.Serialization;
using Irrigation.Episodes;
using IrrigationFhir.Record;
using IrrigationFhir.Rest;

namespace IrrigationFhir.Entries;

/// <summary>
/// An entry: that something was instilled, drained, seen or ordered, and when. <c>source</c> and <c>id</c> name it, <c>kind</c> says what
/// happened; which other properties it takes follows from the kind, and a property that the kind does not have is refused.
/// </summary>
/// <remarks>The shape for the contract. Reading is done by <see cref="EntryReader"/>, which names every problem with its path.</remarks>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record EntryDocument
{
    [Description("Who sends: a ward system, a gateway, a device. With id it identifies the entry. 1 to 200 characters.")]
    public required string Source { get; init; }

    [Description(
        "The sender's id of the entry, unique per source. 1 to 200 characters. Sending it again with the same content changes "
            + "nothing; other content under the same id is a correction."
    )]
    public required string Id { get; init; }

    [Description("What happened. Required, except with status entered-in-error.")]
    [AllowedValues(
        "bag-hung",
        "bag-read",
        "bag-taken-down",
        "irrigant-instilled",
        "irrigant-discarded",
        "flow-set",
        "pump-total-read",
        "drainage-emptied",
        "drainage-level-read",
        "drainage-weighed",
        "container-taken-away",
        "blood-removed",
        "reading-confirmed",
        "leak-estimated",
        "urine-collected",
        "drain-clamped",
        "drain-released",
        "bladder-scanned",
        "bladder-palpated",
        "drainage-appearance",
        "tolerance-noted",
        "order-set",
        "identity-checked",
        "weight-measured",
        "blood-pressure-measured",
        "catheter-inserted",
        "catheter-removed",
        "closed-system-opened",
        "indication-reviewed",
        "washout-performed",
        "irrigation-stopped",
        "patient-attended",
        "steps-attested",
        "escalated",
        "flag-acknowledged",
        "flag-revised"
    )]
    public string? Kind { get; init; }

    [Description(
        "When it happened (RFC 3339, with seconds and offset), e.g. 2026-03-14T22:00:00+01:00. For a period give from and to instead."
    )]
    public string? At { get; init; }

    [Description("Start of a period.")]
    public string? From { get; init; }

    [Description("End of a period.")]
    public string? To { get; init; }

    [Description("When it was charted, if known: a balance as of an earlier moment leaves out what was not charted by then.")]
    public string? RecordedAt { get; init; }

    [Description("final (default), or entered-in-error to withdraw the entry of this source and id.")]
    [AllowedValues("final", "entered-in-error")]
    public string? Status { get; init; }

    [Description(
        "Why an entry is withdrawn (entered-in-error), a closed system was opened (closed-system-opened), or somebody was "
            + "called (escalated)."
    )]
    public string? Reason { get; init; }

    [Description("How it was measured.")]
    [WordsOf(typeof(MeasuringWay))]
    public string? How { get; init; }

    [Description("Who did or saw it, as the sender calls them.")]
    public string? Performer { get; init; }

    [Description("The device that measured it, as the sender calls it.")]
    public string? Device { get; init; }

    [Description("What it was made for; default clinical. Only clinical entries count.")]
    [WordsOf(typeof(Purpose))]
    public string? Purpose { get; init; }

    [Description("Free text, at most 1000 characters.")]
    public string? Note { get; init; }

    [Description(
        "What the sender of a FHIR Observation said, where the entry was translated from one: all of it but id, version and issued. "
            + "Kept and published again beside our own codes; takes no part in the arithmetic."
    )]
    public System.Text.Json.Nodes.JsonObject? Original { get; init; }

    [Description(
        "The run of cycles (an intermittent or open irrigation) that it is part of, as the sender calls it, 1 to 64 characters. "
            + "Optional on any kind: what nobody names is found by time, and the balance says how."
    )]
    public string? Run { get; init; }

    [Description("The cycle of that run, 1 to 1000. Optional on any kind.")]
    public int? Cycle { get; init; }

    [Description(
        "What the drainage was measured in (drainage-emptied, drainage-level-read, drainage-weighed): its marks say how far the reading "
            + "may be off. Without it, a container called basin, jug or syringe is one, and any other a drainage bag."
    )]
    [WordsOf(typeof(Vessel))]
    public string? Vessel { get; init; }

    [Description("Irrigation line (bags, flow, pump, totals, irrigant-discarded); \"1\" where there is only one.")]
    public string? Line { get; init; }

    [Description("Drainage container (emptied, level read, weighed, taken away); \"1\" where there is only one.")]
    public string? Container { get; init; }

    [Description(
        "The amount, mL or L: on the label (bag-hung), instilled (irrigant-instilled), "
            + "spilt or discarded before it reached the bladder (irrigant-discarded), emptied (drainage-emptied), "
            + "of blood and clots (blood-removed; or mass), "
            + "leaked (leak-estimated), collected (urine-collected), in the bladder (bladder-scanned), ordered (order-set)."
    )]
    public QuantityDocument? Volume { get; init; }

    [Description(
        "Which bag (bag-hung), e.g. the number on its label. "
            + "On a reading (bag-read, bag-taken-down) it says which of several on one line (a Y-set); without it, the one that runs."
    )]
    public string? Bag { get; init; }

    [Description("Type of the bag (bag-hung).")]
    public string? BagType { get; init; }

    [Description("The irrigant (bag-hung, irrigant-instilled, order-set), e.g. sodium chloride 0.9 %.")]
    public string? Solution { get; init; }

    [Description("What fills the tubing and never reaches the bladder (bag-hung), mL or L; 0 for a later bag on the same set.")]
    public QuantityDocument? TubingPrime { get; init; }

    [Description("What is left in the bag (bag-read, bag-taken-down), mL or L.")]
    public QuantityDocument? Remaining { get; init; }

    [Description("The level in the container, not emptied (drainage-level-read), mL or L.")]
    public QuantityDocument? Level { get; init; }

    [Description("The counter of the pump (pump-total-read), mL or L.")]
    public QuantityDocument? Total { get; init; }

    [Description("Whether the pump's counter began again at 0 since the last reading (pump-total-read).")]
    public bool? Restarted { get; init; }

    [Description("The flow (flow-set): mL/h, mL/min, L/h, or {drop}/min together with dropFactor. 0 stops it.")]
    public QuantityDocument? Rate { get; init; }

    [Description(
        "Drop factor of the giving set, {drop}/mL, as its packet says: required with drops (flow-set). "
            + "On an order (order-set) that of the set which it is to run through, so that the reply can say what to count."
    )]
    public QuantityDocument? DropFactor { get; init; }

    [Description(
        "What the scale showed (drainage-weighed); "
            + "blood and clots without what they lie in (blood-removed, in place of volume, at 1.06 g/mL): g, kg."
    )]
    public QuantityDocument? Mass { get; init; }

    [Description("The empty container's mass (drainage-weighed): g, kg.")]
    public QuantityDocument? Tare { get; init; }

    [Description("Density of the drainage in g/mL (drainage-weighed), 0.01 to 2. Default 1.006.")]
    public decimal? Density { get; init; }

    [Description("Whether the container was emptied after weighing (drainage-weighed).")]
    public bool? Emptied { get; init; }

    [Description(
        "Where a container that was taken away is read (container-taken-away), in a word: e.g. sluice. "
            + "What it then holds had drained by the time it was taken away."
    )]
    public string? ReadAt { get; init; }

    [Description(
        "The entry that somebody looked at again and found right (reading-confirmed): required there, "
            + "e.g. {\"source\": \"ward-7\", \"id\": \"4712\"}. It has to stand in the log, or come in the same request."
    )]
    public EntryKeyDocument? Reading { get; init; }

    [Description("The route the urine took (urine-collected): required there.")]
    [WordsOf(typeof(UrineRoute))]
    public string? Route { get; init; }

    [Description("Bladder distended to the hand (bladder-palpated).")]
    public bool? Distended { get; init; }

    [Description("Tender over the bladder (bladder-palpated).")]
    public bool? Tender { get; init; }

    [Description("The colour scale that grade belongs to (drainage-appearance): people read colours, so name the scale.")]
    public string? Scale { get; init; }

    [Description("Grade on that scale, 0 to 100 (drainage-appearance).")]
    public int? Grade { get; init; }

    [Description("Colour in words (drainage-appearance).")]
    public string? Colour { get; init; }

    [Description("Clarity (drainage-appearance).")]
    [AllowedValues("clear", "slightly-cloudy", "cloudy", "turbid")]
    public string? Clarity { get; init; }

    [Description("Clots (drainage-appearance).")]
    [AllowedValues("none", "few", "many")]
    public string? Clots { get; init; }

    [Description("Mucus seen (drainage-appearance).")]
    public bool? Mucus { get; init; }

    [Description("Sediment seen (drainage-appearance).")]
    public bool? Sediment { get; init; }

    [Description("Odour noticed (drainage-appearance).")]
    public bool? Odour { get; init; }

    [Description("Pain, 0 to 10 (tolerance-noted).")]
    public int? Pain { get; init; }

    [Description("Bladder spasm (tolerance-noted).")]
    public bool? Spasm { get; init; }

    [Description("Whether the irrigation is tolerated (tolerance-noted).")]
    public bool? Tolerated { get; init; }

    [Description("The order's id (order-set).")]
    public string? Order { get; init; }

    [Description(
        "What the entry does to the order in force, from its time on (order-set). changes, which is taken where nothing is said: what "
            + "it says changes, and the rest stays in force, whatever order it names. replaces: what it leaves open is no longer "
            + "ordered. withdraws: nothing is ordered; it says nothing else of the order but which."
    )]
    [WordsOf(typeof(OrderChange))]
    public string? OrderChange { get; init; }

    [Description("Who gave the order (order-set), as the sender identifies them; performer is whoever took it down.")]
    public string? OrderedBy { get; init; }

    [Description("How the order was given (order-set). A telephone order that was not read back is missing in the record.")]
    [WordsOf(typeof(OrderedHow))]
    public string? OrderedHow { get; init; }

    [Description("How to irrigate (order-set).")]
    [AllowedValues("continuous", "intermittent-manual", "open", "closed", "tidal", "instillation-dwell")]
    public string? Method { get; init; }

    [Description("What is added to the irrigant (order-set, irrigant-instilled).")]
    public string? Additive { get; init; }

    [Description("The time in which volume is to run (order-set), so that the two order a flow: min, h; more than 0.")]
    public QuantityDocument? Over { get; init; }

    [Description("Lot of the additive, or of the solution where nothing was added (irrigant-instilled). At most 64 characters.")]
    public string? Lot { get; init; }

    [Description("Its last day of use (irrigant-instilled), e.g. 2027-06-30.")]
    public string? Expiry { get; init; }

    [Description("What was meant to be given, where the aliquot was not given in full (irrigant-instilled), mL or L.")]
    public QuantityDocument? Intended { get; init; }

    [Description("Whether resistance was met (irrigant-instilled). Never force irrigant.")]
    public bool? Resistance { get; init; }

    [Description("The amount of one cycle (order-set), mL or L.")]
    public QuantityDocument? Aliquot { get; init; }

    [Description("Whether cycles go on until the return is clear (order-set).")]
    public bool? UntilClear { get; init; }

    [Description("How many irrigations, or doses, in 24 h (order-set), 1 to 48: the next is due by it.")]
    public int? TimesPerDay { get; init; }

    [Description("For how many days of 24 h from this entry on (order-set), 1 to 365.")]
    public int? Days { get; init; }

    [Description("Why a run of cycles ended (irrigation-stopped); the note may say more.")]
    [WordsOf(typeof(StopReason))]
    public string? Why { get; init; }

    [Description("Steps of an irrigation that somebody attests (steps-attested): port-cleaned, cap-kept-sterile.")]
    public IReadOnlyList<string>? Done { get; init; }

    [Description("Steps that were not done (steps-attested), which is recorded too.")]
    public IReadOnlyList<string>? NotDone { get; init; }

    [Description("Lowest ordered flow (order-set): mL/h, mL/min, L/h.")]
    public QuantityDocument? RateAtLeast { get; init; }

    [Description("Highest ordered flow (order-set): mL/h, mL/min, L/h.")]
    public QuantityDocument? RateAtMost { get; init; }

    [Description("Ordered dwell (order-set): min, h.")]
    public QuantityDocument? Dwell { get; init; }

    [Description("How often, in words (order-set).")]
    public string? Frequency { get; init; }

    [Description("What is aimed at (order-set), e.g. light pink or clearer.")]
    public string? Target { get; init; }

    [Description("Whom to call (order-set).")]
    public string? Contact { get; init; }

    [Description("When the order expires (order-set): RFC 3339, with seconds and offset.")]
    public string? Until { get; init; }

    [Description("Which identifiers were checked (identity-checked), e.g. name, date-of-birth: required there.")]
    public IReadOnlyList<string>? Identifiers { get; init; }

    [Description("The body weight (weight-measured): g, kg.")]
    public QuantityDocument? Weight { get; init; }

    [Description("What kind of weight it is (weight-measured).")]
    [WordsOf(typeof(Irrigation.Measures.WeightKind))]
    public string? WeightKind { get; init; }

    [Description(
        "The systolic blood pressure in mm[Hg] (blood-pressure-measured): required there. It is context for a flag, and not "
            + "published as an Observation."
    )]
    public QuantityDocument? Systolic { get; init; }

    [Description("The diastolic blood pressure in mm[Hg], not above the systolic (blood-pressure-measured).")]
    public QuantityDocument? Diastolic { get; init; }

    [Description("Type of the catheter (catheter-inserted).")]
    public string? Type { get; init; }

    [Description("Size of the catheter in [Ch] (French), 0 to 100 (catheter-inserted).")]
    public QuantityDocument? Size { get; init; }

    [Description("What its balloon was filled with (catheter-inserted), mL or L.")]
    public QuantityDocument? Balloon { get; init; }

    [Description("Lumens of the catheter, 1 to 3 (catheter-inserted).")]
    public int? Lumens { get; init; }

    [Description("Why the catheter or irrigation is there (indication-reviewed).")]
    public string? Indication { get; init; }

    [Description("Whether it is still needed (indication-reviewed).")]
    public bool? StillNeeded { get; init; }

    [Description("Cycles of a manual washout (washout-performed), or ordered ones of a run (order-set), 1 to 1000.")]
    public int? Cycles { get; init; }

    [Description("Whether the washout cleared the catheter (washout-performed).")]
    public bool? Cleared { get; init; }

    [Description("Who was called (escalated).")]
    public string? Whom { get; init; }

    [Description(
        "The flag: its code, e.g. no-drainage, or the id of the Flag. Required where it was seen (flag-acknowledged), else what "
            + "somebody was called about (escalated). In flag-revised, its code."
    )]
    public string? Flag { get; init; }

    [Description(
        "Since when the flag had been said to stand (flag-revised). That kind is written by the service when late or corrected "
            + "entries show that a flag it had told was otherwise; it is refused from anybody else."
    )]
    public string? Since { get; init; }

    [Description("What of the flag is otherwise than told (flag-revised).")]
    [WordsOf(typeof(FlagRevision))]
    public string? Revision { get; init; }
}

/// <summary>What an entry is called.</summary>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record EntryKeyDocument
{
    [Description("Its source.")]
    public required string Source { get; init; }

    [Description("Its id.")]
    public required string Id { get; init; }
}
