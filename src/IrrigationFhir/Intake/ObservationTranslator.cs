using System.Globalization;
using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;
using Irrigation.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Record;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Intake;

/// <summary>How an Observation points at something that is not kept here: by identifier, by address, or both.</summary>
/// <param name="System">The system of the identifier; null where it has none.</param>
/// <param name="Value">The identifier; null where it points by address alone.</param>
/// <param name="Address">Such as <c>Patient/1</c>, without a version; null where it points by identifier alone.</param>
internal sealed record Pointing(string? System, string? Value, string? Address)
{
    /// <summary>In words, for a refusal.</summary>
    public string Says => Value is null ? Address ?? "" : $"{System}|{Value}";

    /// <summary>
    /// Whether it points at the same as an episode does; null where that cannot be told. Where both know an identifier, that decides:
    /// addresses are different on different servers.
    /// </summary>
    /// <param name="known">What the episode says.</param>
    public bool? IsSame(Pointer? known) =>
        known?.Identifier is { } identifier && Value is not null
            ? identifier.Value == Value && (System is null || identifier.System == System)
        : known?.Reference is { } reference && Address is not null ? WithoutVersion(reference) == Address
        : null;

    /// <summary>An address without its version.</summary>
    public static string WithoutVersion(string address) =>
        address.IndexOf("/_history/", StringComparison.Ordinal) is var at and >= 0 ? address[..at] : address;
}

/// <summary>An Observation as an entry.</summary>
/// <param name="Entry">The entry's JSON, as the entries API would get it.</param>
/// <param name="Key">The sender's identifier.</param>
/// <param name="Status">The sender's status.</param>
/// <param name="Patient">How it points at the patient.</param>
/// <param name="Encounter">How it points at the encounter, where it does.</param>
/// <param name="Start">When it began; null where only a withdrawal has no time.</param>
/// <param name="End">When it ended, or happened.</param>
/// <param name="References">
/// What it points at beside patient and encounter, with the path of each: in what is kept, where a reference may be resolved.
/// </param>
/// <param name="Places">Paths within the Observation, by property of the entry.</param>
/// <param name="At">The Observation's own path.</param>
internal sealed record Translated(
    JsonObject Entry,
    EntryKey Key,
    ObservationStatus Status,
    Pointing Patient,
    Pointing? Encounter,
    Instant Start,
    Instant End,
    IReadOnlyList<(string Path, JsonObject Holder)> References,
    IReadOnlyDictionary<string, string> Places,
    string At
)
{
    private static readonly JsonSerializerOptions Readable = new() { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping };

    /// <summary>What its sender should know although it is taken.</summary>
    public IReadOnlyList<OperationOutcome.IssueComponent> Warnings { get; init; } = [];

    /// <summary>What of it cannot be kept as it was sent.</summary>
    public IReadOnlyList<EntryProblem> NotKept { get; init; } = [];

    /// <summary>The entry as the main path takes it; numbers keep the digits they were sent with.</summary>
    public SentEntry ToEntry()
    {
        using var document = JsonDocument.Parse(Entry.ToJsonString(Readable));
        var sent = SentEntry.Read(document.RootElement, "entry") with { PlaceOf = PlaceOf };
        return sent.Refused(sent.Problems);
    }

    /// <summary>Where a problem of the entry lies in the Observation.</summary>
    /// <param name="where">A path such as <c>entry.volume.unit</c>.</param>
    private string PlaceOf(string where)
    {
        for (
            var path = where.Contains('.', StringComparison.Ordinal) ? where[(where.IndexOf('.', StringComparison.Ordinal) + 1)..] : "";
            path.Length > 0;

        )
        {
            if (Places.TryGetValue(path, out var place))
                return $"{At}.{place}";
            path = path.LastIndexOf('.') is var dot and > 0 ? path[..dot] : "";
        }

        return At;
    }
}

/// <summary>Turns an Observation into an entry: every problem at once, or none. Pure.</summary>
/// <remarks>
/// Reads the JSON itself, not the SDK's object: the SDK takes a time without seconds, and rounds what has more than 28 digits.
/// </remarks>
internal sealed partial class ObservationTranslator
{
    private static readonly Dictionary<string, string> Quantities = new()
    {
        ["bag-hung"] = "volume",
        ["bag-read"] = "remaining",
        ["bag-taken-down"] = "remaining",
        ["irrigant-instilled"] = "volume",
        ["irrigant-discarded"] = "volume",
        ["flow-set"] = "rate",
        ["pump-total-read"] = "total",
        ["drainage-emptied"] = "volume",
        ["drainage-level-read"] = "level",
        ["drainage-weighed"] = "mass",
        ["blood-removed"] = "volume",
        ["leak-estimated"] = "volume",
        ["urine-collected"] = "volume",
        ["bladder-scanned"] = "volume",
        ["weight-measured"] = "weight",
    };

    /// <summary>What has a period: amounts that ran. Everything else was read, seen or done at a moment.</summary>
    private static readonly HashSet<string> Periods = ["irrigant-instilled", "drainage-emptied", "leak-estimated", "urine-collected"];

    /// <summary>What is done: that it happened is all that its Observation says.</summary>
    private static readonly HashSet<string> Deeds = ["container-taken-away", "drain-clamped", "drain-released", "catheter-removed"];

    private static readonly HashSet<string> Drainage = ["drainage-emptied", "drainage-level-read", "drainage-weighed"];

    /// <summary>
    /// Components that are read: local code, type of value, property of the entry, and the kinds that have it (none: all).
    /// </summary>
    private static readonly Dictionary<string, (string Value, string Property, string[] Kinds)> Components = new()
    {
        ["irrigation-line"] = (
            "valueString",
            "line",
            ["bag-hung", "bag-read", "bag-taken-down", "irrigant-instilled", "irrigant-discarded", "flow-set", "pump-total-read"]
        ),
        ["drainage-container"] = (
            "valueString",
            "container",
            ["drainage-emptied", "drainage-level-read", "drainage-weighed", "container-taken-away"]
        ),
        ["counter-restarted"] = ("valueBoolean", "restarted", ["pump-total-read"]),
        ["container-emptied"] = ("valueBoolean", "emptied", ["drainage-emptied", "drainage-level-read", "drainage-weighed"]),
        ["container-tare"] = ("valueQuantity", "tare", ["drainage-weighed"]),
        ["drop-factor"] = ("valueQuantity", "dropFactor", ["flow-set"]),
        ["tubing-prime"] = ("valueQuantity", "tubingPrime", ["bag-hung"]),
    };

    private readonly JsonElement json;
    private readonly string at;
    private readonly KindMap map;
    private readonly List<EntryProblem> problems;
    private readonly JsonObject entry = [];
    private string? perHours;
    private readonly Dictionary<string, string> places = new() { ["source"] = "identifier[0].system", ["id"] = "identifier[0].value" };

    private ObservationTranslator(JsonElement json, string at, KindMap map, List<EntryProblem> problems) =>
        (this.json, this.at, this.map, this.problems) = (json, at, map, problems);

    /// <summary>Translates; null where something is wrong, and then <paramref name="problems"/> has grown.</summary>
    /// <param name="json">The Observation.</param>
    /// <param name="at">Its path: <c>Observation</c>, or <c>Bundle.entry[3].resource</c>.</param>
    /// <param name="map">What codes say.</param>
    /// <param name="problems">Grows.</param>
    public static Translated? Translate(JsonElement json, string at, KindMap map, List<EntryProblem> problems)
    {
        var before = problems.Count;
        var translated = new ObservationTranslator(json, at, map, problems).Translate();
        return problems.Count == before ? translated : null;
    }

    private Translated Translate()
    {
        Understood();
        var status = Status();
        var key = Identity();
        var patient = Patient();
        var (start, end, isPeriod) = Effective();
        if (Moment(Text(json, "issued", "issued"), "issued") is { } issued)
            Put("recordedAt", issued.Text, "issued");
        if (status == ObservationStatus.EnteredInError)
        {
            entry["status"] = "entered-in-error";
            Put("reason", Notes(), "note");
        }
        else
        {
            Content(isPeriod, end - start);
            Put("note", Notes(), "note");
        }

        Put("performer", Named(Items(json, "performer").FirstOrDefault()), "performer[0]");
        Put("device", Named(Get(json, "device")), "device");
        if (Purpose() is { } purpose)
            entry["purpose"] = purpose;
        // What is malformed is refused in any case, and has nothing to keep.
        var original = problems.Count == 0 ? KeptObservation.Of(json) : [];
        entry["original"] = original;
        var references = KeptObservation
            .References(original, "")
            .Where(r =>
                !r.Path.StartsWith("subject.", StringComparison.Ordinal) && !r.Path.StartsWith("encounter.", StringComparison.Ordinal)
            )
            .ToList();
        return new(entry, key, status, patient, Encounter(), start, end, references, places, at) { NotKept = [.. NotKept()] };
    }

    /// <summary>What is taken and cannot be given back: an error for whom is strict.</summary>
    private IEnumerable<EntryProblem> NotKept()
    {
        var foreign = Items(Get(json, "method"), "coding").Any() && entry["how"] is null;
        if (foreign && (string?)entry["kind"] is { } kind && !SentObservation.PublishesAnyMethod(kind))
            yield return new(
                "not-kept",
                $"{at}.method",
                "a method in other codes",
                $"a code of {map.Profiles.CodeSystem("measuring-way")}"
            );
        foreach (var problem in KeptObservation.Rewritten(json, at))
            yield return problem;
    }

    /// <summary>What changes the meaning of an element and is not understood must not be passed over.</summary>
    private void Understood()
    {
        foreach (
            var (name, what) in new[]
            {
                ("modifierExtension", "an extension that changes the meaning"),
                ("implicitRules", "rules that change the meaning"),
            }
        )
        {
            if (Get(json, name) is not null)
                Problem("not-understood", name, what, "an Observation without it: this service would misread it");
        }
    }

    private ObservationStatus Status()
    {
        var text = Text(json, "status", "status");
        if (text is null)
        {
            problems.Add(EntryProblem.Missing($"{at}.status", "preliminary, final, amended, corrected or entered-in-error"));
            return ObservationStatus.Final;
        }

        var status = EnumUtility.ParseLiteral<ObservationStatus>(text);
        if (status is null)
            problems.Add(
                EntryProblem.UnknownWord($"{at}.status", text, ["preliminary", "final", "amended", "corrected", "entered-in-error"])
            );
        else if (!StatusTransitions.Recorded(status.Value))
            Problem(
                "no-result",
                "status",
                $"status '{text}'",
                "preliminary, final, amended, corrected or entered-in-error: there is no result to record yet, or none at all"
            );
        return status ?? ObservationStatus.Final;
    }

    private EntryKey Identity()
    {
        var first = Items(json, "identifier").FirstOrDefault();
        var (system, value) = (Text(first, "system", "identifier[0].system"), Text(first, "value", "identifier[0].value"));
        if (system is null)
            problems.Add(
                EntryProblem.Missing(
                    $"{at}.identifier[0].system",
                    "the sender's own system, a URI: with the value it makes sending again safe"
                )
            );
        if (value is null)
            problems.Add(
                EntryProblem.Missing($"{at}.identifier[0].value", "the sender's identifier of this measurement, unique in its system")
            );
        if (system is not null)
            entry["source"] = system;
        if (value is not null)
            entry["id"] = value;
        return new(system ?? "", value ?? "");
    }

    private Pointing Patient()
    {
        if (Pointed("subject") is { } patient && (patient.Value is null || patient.System is not null))
            return patient;
        problems.Add(
            EntryProblem.Missing(
                $"{at}.subject.identifier",
                "the patient's identifier with system and value, or subject.reference, as the episode was opened with"
            )
        );
        return new("", "", null);
    }

    private Pointing? Encounter() => Pointed("encounter");

    /// <summary>
    /// What an element points at that is not kept here: a reference by search (R4, conditional references) is one by the identifier that
    /// it searches for.
    /// </summary>
    private Pointing? Pointed(string name)
    {
        var (element, place) = (Get(json, name), $"{name}.reference");
        var identifier = Get(element, "identifier");
        var (system, value) = (
            Text(identifier, "system", $"{name}.identifier.system"),
            Text(identifier, "value", $"{name}.identifier.value")
        );
        var reference = Text(element, "reference", place);
        if (reference is not null && ConditionalReference.Identifier(reference) is { } searched)
            return new(system ?? searched.System, value ?? searched.Value, null);
        if (
            reference is not null
            && (reference.Contains('?', StringComparison.Ordinal) || reference.StartsWith("urn:", StringComparison.Ordinal))
        )
        {
            Problem("unresolved-reference", place, reference, "an identifier, an address, or a search by identifier=system|value");
            return new(system ?? "", value ?? "", null);
        }

        var address = reference is null or ['#', ..] ? null : Pointing.WithoutVersion(reference);
        return value is null && address is null ? null : new(value is null ? null : system, value, address);
    }

    private (Instant Start, Instant End, bool IsPeriod) Effective()
    {
        foreach (var name in new[] { "effectiveDateTime", "effectiveInstant" })
        {
            if (Text(json, name, name) is not { } text)
                continue;
            var moment = Moment(text, name);
            if (moment is { } when)
                Put("at", when.Text, name);
            return (moment?.Instant ?? default, moment?.Instant ?? default, false);
        }

        if (Get(json, "effectivePeriod") is { } period)
        {
            var (start, end) = (Text(period, "start", "effectivePeriod.start"), Text(period, "end", "effectivePeriod.end"));
            if (start is null)
                problems.Add(EntryProblem.Missing($"{at}.effectivePeriod.start", "when it began, with seconds and offset"));
            if (end is null)
                problems.Add(
                    EntryProblem.Missing(
                        $"{at}.effectivePeriod.end",
                        "when it ended, with seconds and offset: an amount that still runs is not measured yet"
                    )
                );
            var (from, to) = (Moment(start, "effectivePeriod.start"), Moment(end, "effectivePeriod.end"));
            if (from is { } f)
                Put("from", f.Text, "effectivePeriod.start");
            if (to is { } t)
                Put("to", t.Text, "effectivePeriod.end");
            return (from?.Instant ?? default, to?.Instant ?? default, true);
        }

        var other = json.EnumerateObject()
            .Select(p => p.Name)
            .FirstOrDefault(name => name.StartsWith("effective", StringComparison.Ordinal));
        if (other is null)
            problems.Add(
                EntryProblem.Missing(
                    $"{at}.effectiveDateTime",
                    "when it was measured, with seconds and offset; for an amount over time effectivePeriod"
                )
            );
        else
            problems.Add(EntryProblem.WrongType($"{at}.{other}", other, "effectiveDateTime, effectivePeriod or effectiveInstant"));
        return default;
    }

    /// <summary>
    /// A moment with seconds and offset. Second 60 is legal in FHIR and lies on no time line here; <c>-00:00</c> says that UTC is
    /// known and the local offset is not (RFC 3339, 4.3), which is all that a balance needs.
    /// </summary>
    private (string Text, Instant Instant)? Moment(string? text, string place)
    {
        if (text is null)
            return null;
        var match = FullTime().Match(text);
        if (!match.Success)
            problems.Add(EntryProblem.BadTime($"{at}.{place}", text));
        else if (match.Groups["second"].Value == "60")
            Problem("bad-time", place, $"'{text}', a leap second", "a second from 00 to 59; of a leap second, 59");
        else if (match.Groups["fraction"].Length > 10)
            Problem("bad-time", place, $"'{text}'", "nine digits of a second at most");
        else if (
            match.Groups["hours"].Success
            && int.Parse(match.Groups["hours"].Value, CultureInfo.InvariantCulture) * 60
                + int.Parse(match.Groups["minutes"].Value, CultureInfo.InvariantCulture)
                > 14 * 60
        )
            Problem("bad-time", place, $"'{text}'", "an offset of 14:00 at most");
        else
        {
            var utc = text.EndsWith("-00:00", StringComparison.Ordinal) ? text[..^6] + "Z" : text;
            var (moment, problem) = EntryJson.Moment($"{at}.{place}", utc);
            if (moment is { } instant)
                return (utc, instant);
            problems.Add(problem!);
        }

        return null;
    }

    private void Content(bool isPeriod, NodaTime.Duration period)
    {
        if (Kind() is not { } mapped)
            return;
        var kind = mapped.Kind;
        entry["kind"] = kind;
        foreach (var (word, value) in mapped.Words.Where(w => w.Key != KindMap.Hours))
            Put(word, value, "code");
        if (mapped.Words.TryGetValue(KindMap.Hours, out var hours))
            Timed(hours, isPeriod, period);
        if (isPeriod && !Periods.Contains(kind))
            problems.Add(
                EntryProblem.WrongType(
                    $"{at}.effectivePeriod",
                    "a period",
                    $"effectiveDateTime: {kind} is read or done at a moment, and a counter is not an amount over time"
                )
            );
        Method();
        ReadComponents(kind);
        Value(kind);
    }

    /// <summary>A timed code stands for what came in so many hours: over another time, or none, it would be another amount.</summary>
    private void Timed(string hours, bool isPeriod, NodaTime.Duration period)
    {
        perHours = hours;
        if (!isPeriod)
            problems.Add(EntryProblem.Missing($"{at}.effectivePeriod", $"the {hours} h that the code stands for, with start and end"));
        else if (period != NodaTime.Duration.FromHours(int.Parse(hours, CultureInfo.InvariantCulture)))
            Problem(
                "other-period",
                "effectivePeriod",
                $"{period.TotalHours.ToString("0.##", CultureInfo.InvariantCulture)} h",
                $"the {hours} h that the code stands for; over another time the code of that volume without a time"
            );
    }

    private MappedKind? Kind()
    {
        var codings = Items(Get(json, "code"), "coding")
            .Select(
                (c, i) =>
                    (
                        System: Text(c, "system", $"code.coding[{i}].system"),
                        Code: Text(c, "code", $"code.coding[{i}].code"),
                        Path: $"code.coding[{i}]"
                    )
            )
            .ToList();
        if (codings.Count == 0)
        {
            problems.Add(EntryProblem.Missing($"{at}.code.coding", "a code that the concept map knows; text alone says nothing certain"));
            return null;
        }

        if (
            codings.Find(c => c.System == map.Profiles.CodeSystem("irrigation-observation") && map.Find(c.System, c.Code) is null) is
            { Code: not null } result
        )
        {
            Problem(
                "unknown-code",
                result.Path,
                $"{result.System}|{result.Code}",
                "a measurement: this code is of a result that the service works out, or of a part of one"
            );
            return null;
        }

        var found = codings.Select(c => map.Find(c.System, c.Code)).OfType<MappedKind>().ToList();
        if (found.Count == 0)
        {
            Problem(
                "unknown-code",
                "code",
                string.Join(", ", codings.Select(c => $"{c.System}|{c.Code}")),
                "a code that the concept map translates to a kind of entry (Intake:ConceptMap)"
            );
            return null;
        }

        var kinds = found.Select(f => f.Kind).Distinct().ToList();
        if (Component("container-emptied") is { } emptied && kinds.TrueForAll(Drainage.Contains))
        {
            var isEmptied = Get(emptied.Json, "valueBoolean") is { ValueKind: JsonValueKind.True };
            kinds =
            [
                kinds.Contains("drainage-weighed") ? "drainage-weighed"
                : isEmptied ? "drainage-emptied"
                : "drainage-level-read",
            ];
        }

        if (kinds.Count > 1)
        {
            Problem(
                "ambiguous-code",
                "code",
                $"codes that say {string.Join(" and ", kinds)}",
                kinds.TrueForAll(Drainage.Contains)
                    ? "the component container-emptied, or codes that say the same"
                    : "codes that say the same"
            );
            return null;
        }

        return new(kinds[0], found.SelectMany(f => f.Words).DistinctBy(w => w.Key).ToDictionary());
    }

    private void Method()
    {
        foreach (var (coding, i) in Items(Get(json, "method"), "coding").Select((c, i) => (c, i)))
        {
            var (system, code) = (Text(coding, "system", $"method.coding[{i}].system"), Text(coding, "code", $"method.coding[{i}].code"));
            if (system == map.Profiles.CodeSystem("measuring-way"))
                Put("how", code, $"method.coding[{i}].code");
            if (system == map.Profiles.CodeSystem("urine-route"))
                Put("route", code, $"method.coding[{i}].code");
            if (system == map.Profiles.CodeSystem("weight-kind"))
                Put("weightKind", code, $"method.coding[{i}].code");
        }

        places.TryAdd("route", "method");
        places.TryAdd("weightKind", "method");
    }

    private (JsonElement Json, string Path)? Component(string slug)
    {
        foreach (var (component, i) in Items(json, "component").Select((c, i) => (c, i)))
        {
            if (Local(component, $"component[{i}]") == slug)
                return (component, $"component[{i}]");
        }

        return null;
    }

    private string? Local(JsonElement component, string path) =>
        Items(Get(component, "code"), "coding")
            .Where((c, i) => Text(c, "system", $"{path}.code.coding[{i}].system") == map.Profiles.CodeSystem("irrigation-observation"))
            .Select((c, i) => Text(c, "code", $"{path}.code.coding[{i}].code"))
            .FirstOrDefault();

    private void ReadComponents(string kind)
    {
        var index = -1;
        foreach (var component in Items(json, "component"))
        {
            var path = $"component[{++index}]";
            var slug = Local(component, path);
            if (slug is null || !Components.TryGetValue(slug, out var part) || !part.Kinds.Contains(kind))
            {
                var known = Components.Where(c => c.Value.Kinds.Contains(kind)).Select(c => c.Key).Order(StringComparer.Ordinal).ToList();
                Problem(
                    "unknown-code",
                    $"{path}.code",
                    "a component that is not read",
                    known.Count == 0
                        ? $"no component with {kind}"
                        : $"of {map.Profiles.CodeSystem("irrigation-observation")} with {kind}: {string.Join(", ", known)}"
                );
                continue;
            }

            if (Get(component, part.Value) is not { } value)
                problems.Add(EntryProblem.Missing($"{at}.{path}.{part.Value}", $"the value of {slug}"));
            else if (part.Value == "valueQuantity")
                Quantity(value, $"{path}.valueQuantity", part.Property);
            else if (slug != "container-emptied" || kind == "drainage-weighed")
            {
                entry[part.Property] = Copy(value);
                places[part.Property] = $"{path}.{part.Value}";
            }
        }

        places.TryAdd("dropFactor", "component");
    }

    private void Value(string kind)
    {
        string[] expected = kind switch
        {
            "tolerance-noted" => ["valueInteger", "valueQuantity"],
            "drainage-appearance" => ["valueCodeableConcept", "valueString"],
            _ when Deeds.Contains(kind) => ["valueBoolean"],
            _ => ["valueQuantity"],
        };
        if (
            json.EnumerateObject()
                .Select(p => p.Name)
                .FirstOrDefault(name => name.StartsWith("value", StringComparison.Ordinal) && !expected.Contains(name)) is
            { } other
        )
        {
            problems.Add(EntryProblem.WrongType($"{at}.{other}", other, $"{string.Join(" or ", expected)} with {kind}"));
            return;
        }

        if (Deeds.Contains(kind))
        {
            if (Get(json, "valueBoolean") is { ValueKind: not JsonValueKind.True })
                Problem("out-of-range", "valueBoolean", "false", "true, or no value: the entry says that it happened");
            return;
        }

        if (!Array.Exists(expected, name => Get(json, name) is not null))
        {
            // What the bag still held may be unknown; that it was taken down is known.
            if (kind == "bag-taken-down")
                return;
            var reason = Get(json, "dataAbsentReason") is not null;
            Problem(
                "no-value",
                reason ? "dataAbsentReason" : expected[0],
                reason ? "a reason why there is no value" : "no value",
                "a measured value: a reading that was not taken is not recorded, and what is not recorded is not known, never 0"
            );
            return;
        }

        switch (kind)
        {
            case "tolerance-noted":
                var score = Get(json, "valueInteger") ?? Get(Get(json, "valueQuantity"), "value");
                places["pain"] = Get(json, "valueInteger") is null ? "valueQuantity.value" : "valueInteger";
                if (Get(json, "valueQuantity") is { } scored && Unit(scored, "valueQuantity") is { } unit and not ("{score}" or "1"))
                    problems.Add(EntryProblem.WrongUnit($"{at}.valueQuantity.code", unit, ["{score}", "1"]));
                if (score is { } pain)
                    entry["pain"] = Copy(pain);
                break;
            case "drainage-appearance":
                Appearance();
                break;
            default:
                Quantity(Get(json, "valueQuantity")!.Value, "valueQuantity", Quantities[kind]);
                break;
        }
    }

    /// <summary>A colour in the sender's words, or what the concept map makes of the value's codes.</summary>
    private void Appearance()
    {
        var words = Items(Get(json, "valueCodeableConcept"), "coding")
            .Select(
                (c, i) =>
                    map.Find(
                        Text(c, "system", $"valueCodeableConcept.coding[{i}].system"),
                        Text(c, "code", $"valueCodeableConcept.coding[{i}].code")
                    )
            )
            .OfType<MappedKind>()
            .SelectMany(m => m.Words)
            .ToList();
        foreach (var (word, value) in words)
            Put(word, value, "valueCodeableConcept");
        if (words.Count > 0)
            return;
        var text =
            Text(json, "valueString", "valueString")
            ?? Text(Get(json, "valueCodeableConcept"), "text", "valueCodeableConcept.text")
            ?? Items(Get(json, "valueCodeableConcept"), "coding")
                .Select((c, i) => Text(c, "display", $"valueCodeableConcept.coding[{i}].display"))
                .FirstOrDefault(d => d is not null);
        if (text is null)
            problems.Add(
                EntryProblem.Missing($"{at}.valueCodeableConcept.text", "the colour in words, or a code that the concept map knows")
            );
        else
            Put("colour", text, Get(json, "valueString") is null ? "valueCodeableConcept" : "valueString");
    }

    private void Quantity(JsonElement quantity, string path, string property)
    {
        if (quantity.ValueKind != JsonValueKind.Object)
        {
            problems.Add(EntryProblem.WrongType($"{at}.{path}", "something else", "a Quantity"));
            return;
        }

        if (Get(quantity, "comparator") is not null)
            Problem("not-a-value", $"{path}.comparator", "a bound", "a measured value: a value below or above a limit cannot be summed");
        if (Get(quantity, "value") is not { } value)
            problems.Add(EntryProblem.Missing($"{at}.{path}.value", "a number"));
        else if (value.ValueKind == JsonValueKind.Number && !value.TryGetDecimal(out _))
            problems.Add(
                EntryProblem.OutOfRange(
                    $"{at}.{path}.value",
                    "a number beyond any measurement",
                    "a number of at most 28 digits before the point"
                )
            );
        else if (Unit(quantity, path) is { } unit)
        {
            entry[property] = new JsonObject { ["value"] = Copy(value), ["unit"] = OverItsHours(unit) };
            (places[property], places[$"{property}.value"], places[$"{property}.unit"]) = (path, $"{path}.value", $"{path}.code");
        }
    }

    /// <summary>
    /// Timed codes of LOINC are rates: millilitres in the hours of the code are that many millilitres. A volume is understood too, as
    /// flowsheets have it.
    /// </summary>
    private string OverItsHours(string unit) =>
        (perHours, unit) is ("1", "mL/h") or ("8", "mL/(8.h)") or ("12", "mL/(12.h)") or ("24", "mL/d") ? "mL" : unit;

    private string? Unit(JsonElement quantity, string path)
    {
        var code = Text(quantity, "code", $"{path}.code");
        if (code is null)
        {
            var text = Text(quantity, "unit", $"{path}.unit");
            Problem(
                "missing-unit",
                $"{path}.code",
                text is null ? "no unit" : $"unit '{text}' without a code",
                $"a UCUM code and its system, {Codes.Systems.Ucum}: text is for people"
            );
            return null;
        }

        if (Text(quantity, "system", $"{path}.system") is var system && system != Codes.Systems.Ucum)
        {
            Problem("wrong-unit", $"{path}.system", system is null ? "no system" : $"'{system}'", Codes.Systems.Ucum);
            return null;
        }

        return code;
    }

    /// <summary>
    /// What marks data as not about the patient, or as no valid measurement: labels, and what devices say of a measurement.
    /// </summary>
    private string? Purpose()
    {
        foreach (var (coding, i) in Items(json, "interpretation").SelectMany((c, n) => Items(c, "coding").Select(coding => (coding, n))))
        {
            switch (Text(coding, "code", $"interpretation[{i}].coding.code"))
            {
                case "INV" or "NAV" or "QCF" or "invalid" or "not-available":
                    Problem(
                        "not-a-measurement",
                        $"interpretation[{i}]",
                        "a measurement that its device calls invalid",
                        "a valid one: what is not known is not recorded"
                    );
                    break;
                case "CAL" or "calibration-ongoing":
                    return "calibration";
                case "TEST" or "test-data":
                    return "test";
                case "DEMO" or "demo-data":
                    return "demo";
            }
        }

        return Items(Get(json, "meta"), "security")
            .Any(s => Codes.IsTestData(Text(s, "system", "meta.security.system"), Text(s, "code", "meta.security.code")))
            ? "test"
            : null;
    }

    private string? Notes()
    {
        var texts = Items(json, "note").Select((n, i) => Text(n, "text", $"note[{i}].text")).OfType<string>().ToList();
        return texts.Count == 0 ? null : string.Join(" / ", texts.Select(t => t.ReplaceLineEndings(" ")));
    }

    private string? Named(JsonElement? reference)
    {
        var target = Text(reference, "reference", "reference");
        var inside = target is ['#', .. var id]
            ? Items(json, "contained")
                .Where(c => Text(c, "id", "contained.id") == id)
                .SelectMany(c => Items(c, "identifier"))
                .Select(i => Text(i, "value", "contained.identifier.value"))
                .FirstOrDefault()
            : null;
        return Text(Get(reference, "identifier"), "value", "identifier.value")
            ?? inside
            ?? (target is null ? null : ConditionalReference.Identifier(target)?.Value)
            ?? target
            ?? Text(reference, "display", "display");
    }

    private void Put(string property, string? value, string place)
    {
        if (value is null)
            return;
        entry[property] = value;
        places[property] = place;
    }

    private void Problem(string code, string place, string saw, string expected) => problems.Add(new(code, $"{at}.{place}", saw, expected));

    private static JsonNode? Copy(JsonElement? value) => value is { } json ? JsonNode.Parse(json.GetRawText()) : null;

    private static JsonElement? Get(JsonElement? json, string name) =>
        json is { ValueKind: JsonValueKind.Object } it && it.TryGetProperty(name, out var value) && value.ValueKind != JsonValueKind.Null
            ? value
            : null;

    private static IEnumerable<JsonElement> Items(JsonElement? json, string name) =>
        Get(json, name) is { ValueKind: JsonValueKind.Array } list ? list.EnumerateArray() : [];

    private string? Text(JsonElement? json, string name, string place)
    {
        if (Get(json, name) is not { } value)
            return null;
        if (value.ValueKind == JsonValueKind.String)
            return value.GetString() is { Length: > 0 } text ? text : null;
        if (!problems.Exists(p => p.Where == $"{at}.{place}"))
            problems.Add(EntryProblem.WrongType($"{at}.{place}", "something else", "a text"));
        return null;
    }

    [GeneratedRegex(
        @"^\d{4}-\d\d-\d\dT(?:[01]\d|2[0-3]):[0-5]\d:(?<second>\d\d)(?<fraction>\.\d+)?(?:Z|[+-](?<hours>\d\d):(?<minutes>\d\d))\z",
        RegexOptions.ExplicitCapture
    )]
    private static partial Regex FullTime();
}
