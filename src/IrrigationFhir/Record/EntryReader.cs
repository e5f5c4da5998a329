using System.Text.Json;
using System.Text.Json.Nodes;
using Irrigation.Episodes;
using Irrigation.Measures;
using IrrigationFhir.Fhir;
using NodaTime;

namespace IrrigationFhir.Record;

/// <summary>An entry as it was sent: what it says, and the very JSON, which is what is kept.</summary>
/// <param name="Entry">What it says.</param>
/// <param name="Json">As sent, whatever its units and offsets.</param>
/// <param name="Where">Its path in the request.</param>
internal sealed record EntryRequest(Entry Entry, string Json, string Where);

/// <summary>Turns JSON into entries: every problem at once, or none.</summary>
internal static class EntryReader
{
    /// <summary>
    /// Longest source and longest id, in characters: identifiers that devices build from patient, type, unit and time are long.
    /// </summary>
    public const int LongestKey = 200;

    /// <summary>
    /// Density of blood and clots in g/mL, where their mass was charted: 1.06, as textbooks of physiology give it for whole blood
    /// (from memory; 1.05 to 1.06). No setting: what a log says must not change with the site that reads it.
    /// </summary>
    public const decimal BloodDensity = 1.06m;

    private const int LongestName = 64;

    /// <summary>Reads one entry; null where something is wrong with it, and then <paramref name="problems"/> has grown.</summary>
    public static EntryRequest? Read(JsonElement json, string where, List<EntryProblem> problems)
    {
        if (json.ValueKind != JsonValueKind.Object)
        {
            problems.Add(
                EntryProblem.WrongType(where, json.ValueKind == JsonValueKind.Array ? "a list" : "no object", "an entry: a JSON object")
            );
            return null;
        }

        var before = problems.Count;
        var read = new EntryJson(json, where, problems);
        var key = new EntryKey(
            read.RequiredText("source", LongestKey, "who sends"),
            read.RequiredText("id", LongestKey, "the sender's id of the entry")
        );
        var status = read.Word("status", "final", "entered-in-error");
        var kind = read.Text("kind");
        var header = Header(read, key, status == "entered-in-error", problems);
        Entry? entry;
        if (status == "entered-in-error")
        {
            // The content of what was an error is of no interest: only that it was one.
            entry = new EnteredInError(header, read.Text("reason"));
        }
        else if (kind is null || !EntryKinds.All.Contains(kind) || kind == "entered-in-error")
        {
            problems.Add(
                kind is null ? EntryProblem.Missing(read.At("kind"), "what happened") : EntryProblem.UnknownKind(read.At("kind"), kind)
            );
            return null;
        }
        else
        {
            entry = Content(kind, header, read);
            read.NothingElse(kind);
        }

        return problems.Count == before ? new(entry, json.GetRawText(), where) : null;
    }

    /// <summary>An entry that the service writes itself, as it would have been sent.</summary>
    public static string Write(FlagRevised entry) =>
        new JsonObject
        {
            ["source"] = entry.Key.Source,
            ["id"] = entry.Key.Id,
            ["kind"] = entry.Kind,
            ["at"] = FhirValues.Time(entry.At, DateTimeZone.Utc),
            ["flag"] = entry.Flag,
            ["since"] = FhirValues.Time(entry.Since, DateTimeZone.Utc),
            ["revision"] = Irrigation.Slug.Of(entry.Revision),
        }.ToJsonString();

    private static EntryHeader Header(EntryJson read, EntryKey key, bool retraction, List<EntryProblem> problems)
    {
        var (at, from, to) = (read.Time("at"), read.Time("from"), read.Time("to"));
        if (at is null && to is null && !retraction)
            read.Require("at", "when it happened; for a period 'from' and 'to'", 0);
        if (from >= (to ?? at))
            problems.Add(EntryProblem.EndBeforeStart(read.At("to"), from!.Value, (to ?? at)!.Value));
        return new(key, to ?? at ?? read.Time("recordedAt") ?? Instant.MinValue)
        {
            From = from,
            RecordedAt = read.Time("recordedAt"),
            How = read.Word<MeasuringWay>("how"),
            Performer = read.Text("performer"),
            Device = read.Text("device"),
            Purpose = read.Word<Purpose>("purpose") ?? Purpose.Clinical,
            Note = read.Text("note"),
            Run = read.Text("run", LongestName),
            Cycle = read.Whole("cycle", 1, 1000),
            Original = read.Raw(
                "original",
                SentObservation.LongestJson,
                SentObservation.Fits,
                "a FHIR Observation with status and code, without resourceType, id, issued, implicitRules and modifierExtension"
            ),
        };
    }

    private static Entry Content(string kind, EntryHeader header, EntryJson read)
    {
        string Line() => read.Text("line", LongestName) ?? "1";
        string Container() => read.Text("container", LongestName) ?? "1";
        return kind switch
        {
            "bag-hung" => new BagHung(
                header,
                Line(),
                read.RequiredVolume("volume"),
                read.Text("bag"),
                read.Text("bagType"),
                read.Text("solution"),
                read.Volume("tubingPrime")
            ),
            "bag-read" => new BagRead(header, Line(), read.RequiredVolume("remaining")) { Bag = read.Text("bag") },
            "bag-taken-down" => new BagTakenDown(header, Line(), read.Volume("remaining")) { Bag = read.Text("bag") },
            "irrigant-instilled" => new IrrigantInstilled(header, Line(), read.RequiredVolume("volume"))
            {
                Solution = read.Text("solution"),
                Additive = read.Text("additive"),
                Lot = read.Text("lot", LongestName),
                Expiry = read.Date("expiry"),
                Intended = read.Volume("intended"),
                Resistance = read.Flag("resistance"),
            },
            "irrigant-discarded" => new IrrigantDiscarded(header, Line(), read.RequiredVolume("volume")),
            "flow-set" => Flow(header, Line(), read),
            "pump-total-read" => new PumpTotalRead(header, Line(), read.RequiredVolume("total"), read.Flag("restarted") ?? false),
            "drainage-emptied" => new DrainageEmptied(header, Container(), read.RequiredVolume("volume"))
            {
                Vessel = read.Word<Vessel>("vessel"),
            },
            "drainage-level-read" => new DrainageLevelRead(header, Container(), read.RequiredVolume("level"))
            {
                Vessel = read.Word<Vessel>("vessel"),
            },
            "drainage-weighed" => new DrainageWeighed(
                header,
                Container(),
                read.RequiredMass("mass"),
                read.Mass("tare"),
                read.Within("density", 0.01m, 2, "a density in g/mL, 0.01 to 2"),
                read.Flag("emptied") ?? false
            )
            {
                Vessel = read.Word<Vessel>("vessel"),
            },
            "container-taken-away" => new ContainerTakenAway(header, Container(), read.Text("readAt")),
            "blood-removed" => Blood(header, read),
            "reading-confirmed" => new ReadingConfirmed(header, Reading(read)),
            "leak-estimated" => new LeakEstimated(header, read.RequiredVolume("volume")),
            "urine-collected" => new UrineCollected(
                header,
                read.Word<UrineRoute>("route") ?? read.Require("route", "the route the urine took", UrineRoute.Void),
                read.RequiredVolume("volume")
            ),
            "drain-clamped" => new DrainClamped(header),
            "drain-released" => new DrainReleased(header),
            "bladder-scanned" => new BladderScanned(header, read.RequiredVolume("volume")),
            "bladder-palpated" => new BladderPalpated(header, read.Flag("distended"), read.Flag("tender")),
            "drainage-appearance" => new DrainageAppearance(
                header,
                read.Text("scale"),
                read.Whole("grade", 0, 100),
                read.Text("colour"),
                read.Word("clarity", "clear", "slightly-cloudy", "cloudy", "turbid"),
                read.Word("clots", "none", "few", "many"),
                read.Flag("mucus"),
                read.Flag("sediment"),
                read.Flag("odour")
            ),
            "tolerance-noted" => new ToleranceNoted(header, read.Whole("pain", 0, 10), read.Flag("spasm"), read.Flag("tolerated")),
            "order-set" => Ordered(
                new(header)
                {
                    Change = read.Word<OrderChange>("orderChange") ?? OrderChange.Changes,
                    OrderedBy = read.Text("orderedBy"),
                    OrderedHow = read.Word<OrderedHow>("orderedHow"),
                    Order = read.Text("order"),
                    Method = read.Word("method", "continuous", "intermittent-manual", "open", "closed", "tidal", "instillation-dwell"),
                    Solution = read.Text("solution"),
                    Additive = read.Text("additive"),
                    Amount = read.Volume("volume"),
                    Over = read.Length("over"),
                    DropFactor = read.DropFactor("dropFactor"),
                    AtLeast = read.Rate("rateAtLeast"),
                    AtMost = read.Rate("rateAtMost"),
                    Dwell = read.Length("dwell"),
                    Frequency = read.Text("frequency"),
                    Aliquot = read.Volume("aliquot"),
                    Cycles = read.Whole("cycles", 1, 1000),
                    UntilClear = read.Flag("untilClear"),
                    TimesPerDay = read.Whole("timesPerDay", 1, 48),
                    Days = read.Whole("days", 1, 365),
                    Target = read.Text("target"),
                    Contact = read.Text("contact"),
                    Until = read.Time("until"),
                },
                read
            ),
            "identity-checked" => new IdentityChecked(
                header,
                read.Texts("identifiers", 1, "the identifiers that were checked, e.g. [\"name\", \"date-of-birth\"]") ?? ""
            ),
            "weight-measured" => Weight(header, read),
            "blood-pressure-measured" => BloodPressure(header, read),
            "catheter-inserted" => new CatheterInserted(header, read.Text("type"), read.French("size"), read.Whole("lumens", 1, 3))
            {
                Balloon = read.Volume("balloon"),
            },
            "catheter-removed" => new CatheterRemoved(header),
            "closed-system-opened" => new ClosedSystemOpened(header, read.Text("reason")),
            "indication-reviewed" => new IndicationReviewed(header, read.Text("indication"), read.Flag("stillNeeded")),
            "washout-performed" => new WashoutPerformed(header, read.Whole("cycles", 1, 1000), read.Flag("cleared")),
            "irrigation-stopped" => new IrrigationStopped(header, read.Word<StopReason>("why")),
            "patient-attended" => new PatientAttended(header),
            "steps-attested" => Steps(header, read),
            "escalated" => new Escalated(header, read.Text("whom"), read.Text("reason")) { Flag = read.Text("flag", LongestName) },
            "flag-acknowledged" => new FlagAcknowledged(
                header,
                read.RequiredText("flag", LongestName, "the flag: its code, e.g. no-drainage, or the id of the Flag")
            ),
            "flag-revised" => new FlagRevised(
                header,
                read.RequiredText("flag", LongestName, "the flag's code"),
                read.Time("since") ?? read.Require("since", "since when the flag had been said to stand", Instant.MinValue),
                read.Word<FlagRevision>("revision") ?? read.Require("revision", "what of it is otherwise", FlagRevision.NeverSo)
            ),
            _ => throw new ArgumentOutOfRangeException(nameof(kind), kind, "a kind without a reading"),
        };
    }

    private static StepsAttested Steps(EntryHeader header, EntryJson read)
    {
        var words = StepsAttested.All;
        var (done, notDone) = (read.Words("done", words), read.Words("notDone", words));
        if (!read.Has("notDone"))
            read.Require("done", $"the steps that were done: {string.Join(", ", words)}; or notDone", 0);
        return new(header, done, notDone);
    }

    /// <summary>mL/h: a flow that is counted in drops, or is a volume over a time, is bounded like one that is not.</summary>
    private const decimal MostFlow = 1_000_000;

    /// <summary>An order: of a volume in a time, where that is a flow; a withdrawal orders nothing.</summary>
    private static OrderSet Ordered(OrderSet order, EntryJson read)
    {
        var withdrawal = new OrderSet(order.Header) { Change = OrderChange.Withdraws };
        if (order.Change == OrderChange.Withdraws && order with { Order = null, OrderedBy = null, OrderedHow = null } != withdrawal)
            read.Either(
                "orderChange",
                "withdraws beside what is ordered",
                "withdraws alone, or replaces with what is ordered from then on"
            );
        if (order.Over is { } over)
            Flow(order.Amount, over, "over", read);
        return order;
    }

    /// <summary>The flow that a property <c>volume</c> in a time makes; null, with a problem, where they make none.</summary>
    /// <param name="volume">The volume, where it is there and could be read.</param>
    /// <param name="over">The time.</param>
    /// <param name="name">The property of the time.</param>
    /// <param name="read">The object that holds both.</param>
    public static FlowRate? Flow(Volume? volume, Duration over, string name, EntryJson read)
    {
        read.Require("volume", "the volume that is to run in that time: {\"value\": 3000, \"unit\": \"mL\"}", 0);
        if (over <= Duration.Zero)
            read.Refuse(name, "no time at all", "more than 0: nothing runs in no time");
        else if (volume is { } runs && FlowRate.Of(runs, over) is var flow && flow.MillilitresPerHour > MostFlow)
            read.Refuse(name, "a volume and a time that make more than 1000 L/h", "the time in which the volume is to run");
        else
            return volume is { } known ? FlowRate.Of(known, over) : null;
        return null;
    }

    private static FlowSet Flow(EntryHeader header, string line, EntryJson read)
    {
        if (!read.InDrops("rate"))
        {
            var rate =
                read.Rate("rate") ?? read.Require("rate", "a flow: {\"value\": 500, \"unit\": \"mL/h\"}; 0 stops it", FlowRate.Stopped);
            return new(header, line, rate, null, read.DropFactor("dropFactor"));
        }

        var (drops, factor) = (read.Drops("rate"), read.DropFactor("dropFactor"));
        return new(header, line, Flow(drops, factor, read) ?? FlowRate.Stopped, drops, factor);
    }

    /// <summary>The flow that counted drops make; null, with a problem, where they make none.</summary>
    /// <param name="drops">Drops a minute, where they are there and could be read.</param>
    /// <param name="factor">The property <c>dropFactor</c>, likewise; it has to be there.</param>
    /// <param name="read">The object that holds both.</param>
    public static FlowRate? Flow(decimal? drops, DropFactor? factor, EntryJson read)
    {
        if (factor is null)
            read.Require("dropFactor", "the set's drop factor: {\"value\": 20, \"unit\": \"{drop}/mL\"}", 0);
        if (drops is not { } counted || factor is not { } set)
            return null;
        if (counted * 60 <= MostFlow * set.DropsPerMillilitre)
            return FlowRate.FromDropsPerMinute(counted, set);
        const string printed = "a set of 10 to 60 {drop}/mL, as is printed on it";
        read.Refuse("dropFactor", "drops and a drop factor that make more than 1000 L/h", printed);
        return null;
    }

    /// <summary>Blood and clots, measured or weighed.</summary>
    private static BloodRemoved Blood(EntryHeader header, EntryJson read)
    {
        var (volume, mass) = (read.Volume("volume"), read.Mass("mass"));
        const string Expected = "how much: {\"value\": 60, \"unit\": \"mL\"}; or its mass: {\"value\": 64, \"unit\": \"g\"}";
        if (!read.Has("mass"))
            read.Require("volume", Expected, 0);
        else if (read.Has("volume"))
            read.Either("mass", "a volume and a mass", "one of them: the volume follows from the mass");
        return new(header, volume ?? mass?.At(BloodDensity) ?? Volume.Zero, mass);
    }

    private static EntryKey Reading(EntryJson read)
    {
        const string Expected = "the entry that is confirmed: {\"source\": …, \"id\": …}";
        if (read.Inner("reading") is not { } reading)
            return read.Require("reading", Expected, default(EntryKey));
        var source = reading.RequiredText("source", LongestKey, "the source of the entry that is confirmed");
        var key = new EntryKey(source, reading.RequiredText("id", LongestKey, "its id"));
        reading.NothingElse("the name of an entry");
        return key;
    }

    private static BloodPressureMeasured BloodPressure(EntryHeader header, EntryJson read)
    {
        var (systolic, diastolic) = (read.RequiredPressure("systolic"), read.Pressure("diastolic"));
        return new(header, systolic, systolic > default(Pressure) ? read.NotAbove("diastolic", diastolic, systolic) : diastolic);
    }

    /// <summary>kg. Below it nobody lives, and a criterion per kg and hour would be divided by next to nothing.</summary>
    private const decimal LeastWeight = 0.01m;

    private static WeightMeasured Weight(EntryHeader header, EntryJson read)
    {
        var kilograms = read.RequiredMass("weight").Grams / 1000;
        var kind =
            read.Word<WeightKind>("weightKind")
            ?? read.Require("weightKind", "actual, stated, estimated, ideal or dosing", WeightKind.Actual);
        if (kilograms < LeastWeight)
            kilograms = read.TooLittle("weight", $"{kilograms} kg", "a body weight, 0.01 kg or more");
        return new(header, new(kilograms, kind));
    }
}
