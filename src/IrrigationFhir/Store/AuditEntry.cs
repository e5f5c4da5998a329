using System.Text.Json;
using System.Text.Json.Serialization;
using IrrigationFhir.Model;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>What is audited. The numbers are stored: they are for ever, and a new one gets the next.</summary>
internal enum Deed
{
    /// <summary>One resource, version or document was shown.</summary>
    Read = 1,

    /// <summary>What a query found was shown.</summary>
    Query = 2,

    /// <summary>Something was recorded that was not there.</summary>
    Create = 3,

    /// <summary>Something was amended or withdrawn.</summary>
    Update = 4,

    /// <summary>Something left the service: in a notification, or in the file of an export.</summary>
    Disclose = 5,

    /// <summary>Somebody was refused.</summary>
    Refuse = 6,

    /// <summary>The service started or stopped.</summary>
    Run = 7,

    /// <summary>Clients or keys became others.</summary>
    Roles = 8,

    /// <summary>Somebody did what somebody should look at, though it was allowed.</summary>
    Alert = 9,
}

/// <summary>How it ended, as the codes of the FHIR code system audit-event-outcome.</summary>
internal enum DeedOutcome
{
    /// <summary>As it was meant.</summary>
    Success = 0,

    /// <summary>The request was refused.</summary>
    Minor = 4,

    /// <summary>The service failed, or somebody tried what nobody may.</summary>
    Serious = 8,
}

/// <summary>A patient as the audit names them: by identifier, or by address where there is none.</summary>
/// <param name="Key">As in the rows of the patient; it says the facility.</param>
/// <param name="System">The system of the identifier.</param>
/// <param name="Value">The identifier.</param>
/// <param name="Reference">The address.</param>
internal sealed record AuditedPatient(string Key, string? System, string? Value, string? Reference);

/// <summary>One thing that was done, in our words: what is stored of it, and what an AuditEvent is made of when it is read.</summary>
internal sealed record AuditEntry
{
    /// <summary>What was done.</summary>
    [JsonPropertyName("d")]
    public required Deed Deed { get; init; }

    /// <summary>When, in nanoseconds since 1970.</summary>
    [JsonPropertyName("t")]
    public long At { get; init; }

    /// <summary>The interaction, as the code of restful-interaction (<c>read</c>, <c>search-type</c>), or a code that says how.</summary>
    [JsonPropertyName("i")]
    public string? How { get; init; }

    /// <summary>Who did it, see <see cref="Actor"/>.</summary>
    [JsonPropertyName("c")]
    public required string Client { get; init; }

    /// <inheritdoc cref="Actor.Token"/>
    [JsonPropertyName("k")]
    public string? Token { get; init; }

    /// <inheritdoc cref="Actor.Request"/>
    [JsonPropertyName("x")]
    public string? Request { get; init; }

    /// <inheritdoc cref="Actor.From"/>
    [JsonPropertyName("f")]
    public string? From { get; init; }

    /// <inheritdoc cref="Actor.To"/>
    [JsonPropertyName("s")]
    public string? To { get; init; }

    /// <summary>The patient; null where it is about none.</summary>
    [JsonPropertyName("p")]
    public AuditedPatient? Patient { get; init; }

    /// <summary>
    /// The episodes whose patients were shown, while it waits to be stored: it becomes one entry for each patient then.
    /// </summary>
    [JsonPropertyName("e")]
    public IReadOnlyList<string>? Episodes { get; init; }

    /// <summary>The resources, as <c>Observation/id/_history/2</c>: the one that was meant first.</summary>
    [JsonPropertyName("r")]
    public IReadOnlyList<string>? Resources { get; init; }

    /// <summary>The entries of a log that were recorded, as <c>source|id</c>.</summary>
    [JsonPropertyName("l")]
    public IReadOnlyList<string>? Entries { get; init; }

    /// <summary>What was asked: method, address and parameters.</summary>
    [JsonPropertyName("q")]
    public string? Query { get; init; }

    /// <summary>How it ended.</summary>
    [JsonPropertyName("o")]
    public DeedOutcome Outcome { get; init; }

    /// <summary>Why, as a code of ours; null where it ended well.</summary>
    [JsonPropertyName("w")]
    public string? Code { get; init; }

    /// <summary>How often, where several alike are told by one; 0 for once.</summary>
    [JsonPropertyName("n")]
    public int Times { get; init; }

    /// <summary>Something that somebody does at a moment.</summary>
    public static AuditEntry By(Actor actor, Deed deed, string? how, Instant at) =>
        new()
        {
            Deed = deed,
            How = how,
            At = Search.UnixNanoseconds.Of(at),
            Client = actor.Client,
            Token = actor.Token,
            Request = actor.Request,
            From = actor.From,
            To = actor.To,
        };

    /// <summary>As JSON in UTF-8.</summary>
    public byte[] ToJson() => JsonSerializer.SerializeToUtf8Bytes(this, AuditJson.Default.AuditEntry);

    /// <summary>Reads back what <see cref="ToJson"/> wrote.</summary>
    /// <exception cref="JsonException">It is none.</exception>
    public static AuditEntry Read(ReadOnlySpan<byte> json) => JsonSerializer.Deserialize(json, AuditJson.Default.AuditEntry)!;
}

/// <summary>How entries are written: without what is not said.</summary>
[JsonSourceGenerationOptions(DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingDefault)]
[JsonSerializable(typeof(AuditEntry))]
internal sealed partial class AuditJson : JsonSerializerContext;
