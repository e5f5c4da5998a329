using System.Text.Json;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Irrigation.Episodes;
using IrrigationFhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>
/// What the sender of an Observation said, beside what we say. Where an entry is published as one Observation, the sender's codes,
/// identifier, status and quantity go into that one. Where it is not (a counter, of which only differences are published; a bag;
/// test data), the Observation is published as it was sent, and what we make of it points there.
/// </summary>
internal sealed class SentObservation(Vocabulary vocabulary)
{
    private Codes Codes { get; } = vocabulary.Codes;

    /// <summary>Longest text of what is kept, in characters.</summary>
    public const int LongestJson = 8000;

    private const string AsSentSlug = "as-sent";

    private static readonly HashSet<string> Kept =
    [
        "status",
        "code",
        "valueQuantity",
        "valueInteger",
        "valueBoolean",
        "valueString",
        "valueCodeableConcept",
        "derivedFrom",
    ];

    /// <summary>Whether JSON is the part of an Observation that is kept: status and code, and of the rest what is known here.</summary>
    public static bool Fits(JsonElement json)
    {
        if (json.ValueKind != JsonValueKind.Object || json.EnumerateObject().Any(p => !Kept.Contains(p.Name)))
            return false;
        if (!json.TryGetProperty("status", out _) || !json.TryGetProperty("code", out _))
            return false;
        try
        {
            return Read(json.GetRawText()) is { Status: not null, Code.Coding.Count: > 0 };
        }
        catch (Exception fault)
            when (fault is DeserializationFailedException or Hl7.Fhir.Utility.CodedException or FormatException or JsonException)
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
    /// <param name="observation">What every Observation of the entry says, with its status; changed in place.</param>
    /// <param name="entry">The entry.</param>
    /// <param name="episode">Its episode.</param>
    public Observation? AsSent(Observation observation, Entry entry, Episode episode)
    {
        if (AsSentId(episode, entry) is not { } id || Of(entry) is not { } sent)
            return null;
        observation.Id = id;
        if (entry.Header.Purpose != Purpose.Clinical)
            (observation.Meta, observation.PartOf) = (new() { Security = [Codes.TestData()] }, []); // of no patient, so of no irrigation
        observation.Code = new() { Coding = [.. sent.Code!.Coding], Text = sent.Code.Text };
        if (entry is not EnteredInError)
            observation.Code.Coding.AddRange(Codes.EntryKind(entry.Kind).Coding.Where(own => !Says(sent.Code, own)));
        observation.Value = sent.Value;
        observation.DerivedFrom = sent.DerivedFrom;
        Sign(observation, entry);
        return observation;
    }

    /// <summary>Adds the sender's words to an Observation of ours.</summary>
    public Observation? Beside(Observation? observation, Entry entry, Episode episode)
    {
        if (observation is null || Of(entry) is not { } sent)
            return observation;
        if (AsSentId(episode, entry) is { } reading)
        {
            observation.DerivedFrom = [new($"Observation/{reading}")];
            return observation;
        }

        if (observation.Status != ObservationStatus.EnteredInError)
            observation.Status = sent.Status;
        observation.Code!.Coding.AddRange(Codes.Besides(observation.Code, sent.Code!));
        observation.DerivedFrom.AddRange(sent.DerivedFrom);
        if (sent.Value is Quantity given && observation.Value is Quantity ours && (given.Code, given.Value) != (ours.Code, ours.Value))
        {
            observation.Component.Add(new() { Code = Codes.Component("quantity-as-sent"), Value = given });
        }

        Sign(observation, entry);
        return observation;
    }

    private static void Sign(Observation observation, Entry entry)
    {
        observation.Identifier.Insert(0, new(entry.Key.Source, entry.Key.Id));
        observation.Issued = entry.Header.RecordedAt?.ToDateTimeOffset();
    }

    private static bool Says(CodeableConcept concept, Coding coding) =>
        concept.Coding.Any(c => c.System == coding.System && c.Code == coding.Code);

    /// <summary>Whether an entry is published as one Observation that says what it says.</summary>
    private static bool IsOne(Entry entry) =>
        EntryMapper.SlugOf(entry) is not null && entry is not (BagRead or BagTakenDown or PumpTotalRead);

    private static Observation Read(string original) =>
        FhirJsonDeserializer.DEFAULT.Deserialize<Observation>($"{{\"resourceType\":\"Observation\",{original.TrimStart()[1..]}");
}
