using System.Text.Json;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Irrigation.Episodes;
using IrrigationFhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>
/// What the sender of an Observation said, beside what we say. Where an entry is published as one Observation of the same quantity, the
/// sender's whole Observation is that one, and what is ours is added to it. Where it is not (a counter, of which only differences are
/// published; a bag; a mass; findings that we publish in components; test data), the Observation is published as it was sent, and what
/// we make of it points there.
/// </summary>
internal sealed class SentObservation(Vocabulary vocabulary)
{
    private Codes Codes { get; } = vocabulary.Codes;

    /// <summary>Longest text of what is kept, in characters.</summary>
    public const int LongestJson = 16_000;

    /// <summary>
    /// The offset that <c>issued</c> was written with, beside what is kept: the moment itself is the entry's <c>recordedAt</c>, for the
    /// same content charted again later is the same content.
    /// </summary>
    public const string IssuedOffset = "issuedOffset";

    private const string AsSentSlug = "as-sent";

    /// <summary>What is never kept: it changes the meaning and is not understood, or is the service's to give.</summary>
    private static readonly HashSet<string> Never = ["resourceType", "id", "implicitRules", "modifierExtension", "issued"];

    /// <summary>Whether JSON is an Observation that can be kept: status and code, and whatever else R4 has for one.</summary>
    public static bool Fits(JsonElement json)
    {
        if (json.ValueKind != JsonValueKind.Object || json.EnumerateObject().Any(p => Never.Contains(p.Name)))
            return false;
        if (!json.TryGetProperty("status", out _) || !json.TryGetProperty("code", out _))
            return false;
        try
        {
            return Read(json.GetRawText()) is { Status: not null, Code.Coding.Count: > 0 };
        }
        catch (Exception fault)
            when (fault
                    is DeserializationFailedException
                        or Hl7.Fhir.Utility.CodedException
                        or FormatException
                        or JsonException
                        or ArgumentException
            )
        {
            return false;
        }
    }

    /// <summary>What was kept of an entry's Observation; null for an entry that did not come as one.</summary>
    public static Observation? Of(Entry entry) => entry.Header.Original is { } original ? Read(original) : null;

    /// <summary>The id of the Observation that answers for what came under a key; null where nothing came as an Observation.</summary>
    public static string? AnswerTo(Episode episode, EntryKey key)
    {
        if (episode.Log.Current(key) is not { Entry: var stands })
            return null;
        var spoken = stands is not EnteredInError
            ? stands
            : episode.Log.Versions(key).LastOrDefault(v => v.Entry is not EnteredInError)?.Entry ?? stands;
        return spoken.Header.Original is null ? null
            : IsOne(spoken) ? EntryMapper.IdOf(episode, spoken)
            : AsSentId(episode, spoken);
    }

    /// <summary>The id of the Observation that an entry is published as, whether ours with the sender's words or as it was sent.</summary>
    public static string IdOf(Episode episode, Entry entry) =>
        (IsOne(entry) ? EntryMapper.IdOf(episode, entry) : null) ?? FhirValues.EntryId(episode.Id, AsSentSlug, entry.Key);

    /// <summary>The id of the Observation as sent; null where ours is the one, or nothing came as an Observation.</summary>
    public static string? AsSentId(Episode episode, Entry entry) =>
        entry.Header.Original is null || IsOne(entry) ? null : FhirValues.EntryId(episode.Id, AsSentSlug, entry.Key);

    /// <summary>The Observation as sent; null where ours is the one, or nothing came as an Observation.</summary>
    /// <param name="ours">What every Observation of the entry says, with its status; changed in place.</param>
    /// <param name="entry">The entry.</param>
    /// <param name="episode">Its episode.</param>
    public Observation? AsSent(Observation ours, Entry entry, Episode episode)
    {
        if (AsSentId(episode, entry) is not { } id || Of(entry) is not { } sent)
            return null;
        ours.Id = id;
        if (entry.Header.Purpose != Purpose.Clinical)
            (ours.Meta, ours.PartOf) = (new() { Security = [Codes.TestData()] }, []); // of no patient, so of no irrigation

        // What was sent without its category has none: this one is no result of ours.
        ours.Category = IsWhole(sent) ? [] : ours.Category;
        ours.Method = IsWhole(sent) ? null : ours.Method;
        ours.Code = new() { Coding = [.. sent.Code!.Coding], Text = sent.Code.Text };
        if (entry is not EnteredInError)
            ours.Code.Coding.AddRange(Codes.EntryKind(entry.Kind).Coding.Where(own => !Says(sent.Code, own)));
        ours.Value = sent.Value;
        return Together(ours, sent, entry);
    }

    /// <summary>Adds the sender's words to an Observation of ours.</summary>
    public Observation? Beside(Observation? observation, Entry entry, Episode episode)
    {
        if (observation is null || Of(entry) is not { } sent)
            return observation;
        if (AsSentId(episode, entry) is { } reading)
        {
            observation.DerivedFrom = [new($"Observation/{reading}")];
            Label(observation, sent);
            return observation;
        }

        var kinds = Codes.EntryKind(entry.Kind).Coding;
        observation.Code!.Coding.AddRange(Codes.Besides(observation.Code, sent.Code!));
        observation.Code.Coding.AddRange(sent.Code!.Coding.Where(coding => IsWhole(sent) && kinds.Exists(k => k.System == coding.System)));
        if (entry is BladderScanned && sent.Method is not null)
            observation.Method ??= Codes.MeasuringWay(Irrigation.Slug.Of(MeasuringWay.Scan));
        return Together(observation, sent, entry);
    }

    /// <summary>The sender's Observation with what is ours added; what both say is the sender's, but for status, code and value.</summary>
    private Observation Together(Observation ours, Observation sent, Entry entry)
    {
        var one = (Observation)sent.DeepCopy();
        one.Id = ours.Id;
        one.Status = ours.Status == ObservationStatus.EnteredInError ? ours.Status : sent.Status;
        one.Meta ??= new();
        one.Meta.Profile = [.. ours.Meta?.Profile ?? [], .. (sent.Meta?.Profile ?? []).Except(ours.Meta?.Profile ?? [])];
        Label(one, ours);
        if (!one.Meta.EnumerateElements().Any())
            one.Meta = null; // FHIR has no empty elements
        List<Identifier> both = [new(entry.Key.Source, entry.Key.Id), .. ours.Identifier];
        one.Identifier.AddRange(both.Where(own => !sent.Identifier.Exists(i => i.System == own.System && i.Value == own.Value)));
        one.Category.AddRange(ours.Category.Where(own => !sent.Category.Exists(c => own.Coding.TrueForAll(coding => Says(c, coding)))));
        one.Code = ours.Code!;
        one.Code.Text = sent.Code?.Text ?? ours.Code!.Text;
        one.Subject = Filled(sent.Subject, ours.Subject);
        one.Encounter = Filled(sent.Encounter, ours.Encounter);
        one.Effective ??= ours.Effective;
        if (entry.Header.RecordedAt is { } charted)
            one.IssuedElement = new(charted.ToDateTimeOffset().ToOffset(OffsetOfIssued(entry)));
        if (one.Performer.Count == 0)
            one.Performer = ours.Performer;
        one.Device ??= ours.Device;
        (one.Value, one.DataAbsentReason) = (ours.Value, ours.DataAbsentReason);
        one.BodySite ??= ours.BodySite;
        one.Method = Both(sent.Method, ours.Method);
        var texts = sent.Note.ConvertAll(note => note.Text);
        one.Note.AddRange(ours.Note.Where(note => !texts.Contains(note.Text) && (texts.Count == 0 || note.Text != entry.Header.Note)));
        one.Component.AddRange(ours.Component.Where(own => !sent.Component.Exists(c => c.Code!.Coding.Exists(x => Says(own.Code!, x)))));
        one.DerivedFrom.AddRange(ours.DerivedFrom);
        one.PartOf.AddRange(ours.PartOf.Where(own => !sent.PartOf.Exists(p => p.Reference == own.Reference)));
        one.Extension.AddRange(ours.Extension);
        if (sent.Value is not Quantity given || ours.Value is not Quantity normal)
            return one;
        if ((given.System, given.Code, given.Value) == (normal.System, normal.Code, normal.Value))
            one.Value = sent.Value;
        else if (!sent.Component.Exists(c => c.Code!.Coding.Exists(x => Says(Codes.Component("quantity-as-sent"), x))))
            one.Component.Add(new() { Code = Codes.Component("quantity-as-sent"), Value = given });
        return one;
    }

    /// <summary>Labels of one are the other's too: what was confidential stays so.</summary>
    private static void Label(Observation observation, Observation from)
    {
        var labels = (from.Meta?.Security ?? [])
            .Where(label => observation.Meta?.Security.Exists(l => (l.System, l.Code) == (label.System, label.Code)) is not true)
            .ToList();
        if (labels.Count == 0)
            return;
        observation.Meta ??= new();
        observation.Meta.Security.AddRange(labels);
    }

    /// <summary>The sender's reference with what else is known of its target; ours, where it points at something else.</summary>
    private static ResourceReference? Filled(ResourceReference? sent, ResourceReference? ours)
    {
        if (sent is null || ours is null)
            return ours ?? sent;
        var same =
            sent.Identifier is { } a && ours.Identifier is { } b
                ? a.Value == b.Value && (a.System is null || a.System == b.System)
                : sent.Reference is not null && sent.Reference.Split("/_history/")[0] == ours.Reference;
        if (!same)
            return ours;
        var filled = (ResourceReference)sent.DeepCopy();
        filled.Identifier ??= ours.Identifier;
        filled.Reference ??= ours.Reference;
        filled.Display ??= ours.Display;
        return filled;
    }

    /// <summary>
    /// A way of measuring is one of ours, as the profiles bind it: the sender's other codes stand beside it, or not at all.
    /// </summary>
    private CodeableConcept? Both(CodeableConcept? sent, CodeableConcept? ours)
    {
        if (sent is null || ours is null)
            return ours ?? (sent?.Coding.Exists(c => c.System is { } system && IsOurs(system)) is true ? sent : null);
        var both = (CodeableConcept)sent.DeepCopy();
        both.Coding.AddRange(ours.Coding.Where(own => !Says(sent, own)));
        return both;
    }

    /// <summary>Whether a method would be published: see <see cref="Both"/>.</summary>
    /// <param name="kind">The kind of the entry.</param>
    public static bool PublishesAnyMethod(string kind) =>
        kind is not ("irrigant-instilled" or "drainage-emptied" or "drainage-level-read" or "leak-estimated" or "flow-set");

    private bool IsOurs(string system) => system.StartsWith(vocabulary.Profiles.CanonicalBase, StringComparison.Ordinal);

    private static bool Says(CodeableConcept concept, Coding coding) =>
        concept.Coding.Any(c => c.System == coding.System && c.Code == coding.Code);

    /// <summary>Whether an entry is published as one Observation that says what it says.</summary>
    private static bool IsOne(Entry entry) =>
        EntryMapper.SlugOf(entry) is not null
        && entry
            is not (BagRead or BagTakenDown or PumpTotalRead or DrainageWeighed or DrainageAppearance or ToleranceNoted or BladderPalpated);

    /// <summary>Whether all was kept: services of before kept status, code, value and derivedFrom alone.</summary>
    public static bool IsWhole(Observation kept) => kept.Subject is not null;

    private static TimeSpan OffsetOfIssued(Entry entry) =>
        JsonNode.Parse(entry.Header.Original!)![IssuedOffset] is { } text
        && DateTimeOffset.TryParse($"2000-01-01T00:00:00{text}", System.Globalization.CultureInfo.InvariantCulture, out var at)
            ? at.Offset
            : TimeSpan.Zero;

    private static Observation Read(string original)
    {
        var kept = JsonNode.Parse(original)!.AsObject();
        kept.Remove(IssuedOffset);
        kept["resourceType"] = "Observation";
        return FhirJsonDeserializer.DEFAULT.Deserialize<Observation>(kept.ToJsonString());
    }
}
