using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;
using DateTimeZone = NodaTime.DateTimeZone;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Store;

/// <summary>A resource on its way into the store: its text, what it is found by, and fingerprints of both.</summary>
/// <remarks>Build it with <see cref="Of"/>. It holds no version: the store gives one, and only if the content changed.</remarks>
internal sealed class ResourceDraft
{
    // Serialised in the place where the real version and time go. Inside a JSON string the quotes would be escaped,
    // so this text occurs only there.
    private const string VersionSlot = "\"versionId\":\"0\"";

    private readonly string _json;
    private readonly string? _dateStart;
    private readonly string? _dateEnd;

    private ResourceDraft(IndexedType type, Resource resource)
    {
        Type = type.Name;
        Id = resource.Id!;
        _json = WithVersionSlot(resource);
        ContentHash = SHA256.HashData(Encoding.UTF8.GetBytes(_json));

        foreach (var parameter in type.Parameters)
        {
            switch (parameter)
            {
                case IndexedParameter.Date date:
                    (_dateStart, _dateEnd) = Ends(date.Of(resource));
                    break;
                case IndexedParameter.Status status:
                    Status = status.Of(resource);
                    break;
                case IndexedParameter.Subject subject:
                    Subject = ReferenceKey.Of(subject.Of(resource)) ?? Subject;
                    break;
                case IndexedParameter.Coded coded:
                    Tokens.AddRange(coded.Of(resource).Distinct().Select(token => (coded.Name, token)));
                    break;
                case IndexedParameter.Reference reference:
                    References.AddRange(reference.Of(resource).Select(ReferenceKey.Of).OfType<ReferenceKey>().Distinct().Select(key => (reference.Name, key)));
                    break;
            }
        }

        IndexHash = SHA256.HashData(Encoding.UTF8.GetBytes(string.Join('\u001f', Tokens) + '\u001e' + string.Join('\u001f', References)));
    }

    /// <summary>The FHIR type name, one of <see cref="IndexedTypes"/>.</summary>
    public string Type { get; }

    /// <summary>The logical id.</summary>
    public string Id { get; }

    /// <summary>Fingerprint of the content without version and time of storing.</summary>
    public byte[] ContentHash { get; }

    /// <summary>Fingerprint of <see cref="Tokens"/> and <see cref="References"/>: while it stays, their rows may stay.</summary>
    public byte[] IndexHash { get; }

    /// <summary>The status code, or null.</summary>
    public string? Status { get; }

    /// <summary>Whom it is about, or null.</summary>
    public ReferenceKey? Subject { get; }

    /// <summary>Codings and identifiers by parameter name, without repetition.</summary>
    public List<(string Parameter, Token Token)> Tokens { get; } = [];

    /// <summary>References by parameter name, without repetition.</summary>
    public List<(string Parameter, ReferenceKey Key)> References { get; } = [];

    /// <summary>Takes a resource apart. The resource is left as it was; while this runs nobody else may use it.</summary>
    /// <exception cref="ArgumentException">The type is not one of <see cref="IndexedTypes"/>, or the resource has no id.</exception>
    public static ResourceDraft Of(Resource resource)
    {
        var type = IndexedTypes.Find(resource.TypeName)
            ?? throw new ArgumentException($"{resource.TypeName} is not among the types the store keeps; IndexedTypes lists them.", nameof(resource));
        if (string.IsNullOrEmpty(resource.Id))
            throw new ArgumentException($"This {resource.TypeName} has no id; a resource is stored under one.", nameof(resource));
        return new(type, resource);
    }

    /// <summary>When it happened, or null.</summary>
    /// <param name="zone">The zone of dates without an offset.</param>
    public TimeRange? Date(DateTimeZone zone) => TimeRange.Parse(_dateStart, _dateEnd, zone);

    /// <summary>The text to store: the content with <c>meta.versionId</c> and <c>meta.lastUpdated</c>.</summary>
    public string Json(long versionId, Instant lastUpdated)
    {
        var slot = _json.IndexOf(VersionSlot, StringComparison.Ordinal);
        return string.Concat(
            _json.AsSpan(0, slot),
            $"\"versionId\":\"{versionId}\",\"lastUpdated\":\"{LastUpdatedText.Of(lastUpdated)}\"",
            _json.AsSpan(slot + VersionSlot.Length));
    }

    private static string WithVersionSlot(Resource resource)
    {
        var given = resource.Meta;
        try
        {
            resource.Meta = (Meta?)given?.DeepCopy() ?? new();
            resource.Meta.VersionId = "0";
            resource.Meta.LastUpdated = null;
            return FhirJson.Write(resource);
        }
        finally
        {
            resource.Meta = given;
        }
    }

    private static (string? Start, string? End) Ends(DataType? value) => value switch
    {
        FhirDateTime moment => (moment.Value, moment.Value),
        Date day => (day.Value, day.Value),
        // The text, not the parsed value: it may be more precise, and it is what the stored JSON shows.
        Hl7.Fhir.Model.Instant { JsonValue: string text } => (text, text),
        Period period => (period.Start, period.End),
        _ => (null, null),
    };
}
