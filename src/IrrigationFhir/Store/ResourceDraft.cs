using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;
using IrrigationFhir.Search;
using DateTimeZone = NodaTime.DateTimeZone;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Store;

/// <summary>One row of what a resource is found by.</summary>
/// <param name="Parameter">The name its <see cref="IndexedParameter.Coded"/> writes it under.</param>
/// <param name="Part">As in <see cref="CodedValue"/>.</param>
/// <param name="Token">The coding, identifier or canonical.</param>
/// <param name="Quantity">The value beside it, or null.</param>
internal readonly record struct IndexedToken(string Parameter, int Part, Token Token, IndexedQuantity? Quantity);

/// <summary>The times of a draft in the zone of the store.</summary>
/// <param name="Date">When it happened, or null.</param>
/// <param name="Others">Other times, by parameter name.</param>
internal sealed record DraftTimes(TimeRange? Date, IReadOnlyList<(string Parameter, TimeRange Range)> Others);

/// <summary>A resource on its way into the store: its text, what it is found by, and fingerprints of both.</summary>
/// <remarks>Build it with <see cref="Of"/>. It holds no version: the store gives one, and only if the content changed.</remarks>
internal sealed class ResourceDraft
{
    // Serialised in the place where the real version and time go. Inside a JSON string the quotes would be escaped,
    // so this text occurs only there.
    private static readonly byte[] VersionSlot = "\"versionId\":\"0\""u8.ToArray();

    private readonly byte[] _content;
    private readonly string? _dateStart;
    private readonly string? _dateEnd;
    private readonly List<(string Parameter, string Start, string? End)> _moments = [];

    private ResourceDraft(IndexedType type, Resource resource)
    {
        Type = type.Name;
        Id = resource.Id!;
        Resource = resource;
        _content = WithVersionSlot(resource);
        ContentHash = SHA256.HashData(_content);

        foreach (var parameter in type.Parameters)
        {
            switch (parameter)
            {
                case IndexedParameter.Date date:
                    (_dateStart, _dateEnd) = Ends(date.Of(resource));
                    break;
                case IndexedParameter.Moment moment:
                    if (Ends(moment.Of(resource)) is ({ } first, var last))
                        _moments.Add((moment.Name, first, last));
                    break;
                case IndexedParameter.Quantity { Of: { } of } quantity:
                    if (of(resource) is { } value)
                        Tokens.Add(new(quantity.Name, 0, new("", ""), IndexedQuantity.Of(value)));
                    break;
                case IndexedParameter.Status status:
                    Status = status.Of(resource);
                    break;
                case IndexedParameter.Subject subject:
                    Subject = ReferenceKey.Of(subject.Of(resource)) ?? Subject;
                    SubjectThrough =
                    [
                        .. (subject.Through?.Invoke(resource) ?? [])
                            .Select(ReferenceKey.Of)
                            .OfType<ReferenceKey>()
                            .Select(key => key.Target),
                    ];
                    break;
                case IndexedParameter.Coded { Of: { } of } coded:
                    Tokens.AddRange(
                        of(resource)
                            .DistinctBy(value => (value.Part, value.Token))
                            .Select(value => new IndexedToken(coded.Name, value.Part, value.Token, IndexedQuantity.Of(value.Value)))
                    );
                    break;
                case IndexedParameter.Canonical canonical:
                    Tokens.AddRange(
                        canonical.Of(resource).Select(TokenOf).Distinct().Select(token => new IndexedToken(canonical.Name, 0, token, null))
                    );
                    break;
                case IndexedParameter.Text text:
                    Tokens.AddRange(text.Of(resource).Distinct().Select(value => new IndexedToken(text.Name, 0, new("", value), null)));
                    break;
                case IndexedParameter.Reference reference:
                    References.AddRange(
                        reference
                            .Of(resource)
                            .Select(ReferenceKey.Of)
                            .OfType<ReferenceKey>()
                            .Distinct()
                            .Select(key => (reference.Name, key))
                    );
                    break;
            }
        }

        IndexHash =
        [
            .. Quarter(string.Join('\u001f', Tokens.Select(row => row with { Quantity = null })) + $"\u001e{_dateStart}\u001f{_dateEnd}"),
            .. Quarter(string.Join('\u001f', Tokens.Select(row => row.Quantity))),
            .. Quarter(string.Join('\u001f', References)),
            .. Quarter(string.Join('\u001f', _moments)),
        ];
    }

    /// <summary>The FHIR type name, one of <see cref="IndexedTypes"/>.</summary>
    public string Type { get; }

    /// <summary>The logical id.</summary>
    public string Id { get; }

    /// <summary>The resource it is the draft of, until that is let go.</summary>
    public Resource Resource { get; private set; }

    /// <summary>The content as JSON in UTF-8; version 0 stands for the one that the store gives.</summary>
    public ReadOnlyMemory<byte> Content => _content;

    /// <summary>Fingerprint of the content without version and time of storing.</summary>
    public byte[] ContentHash { get; }

    /// <summary>
    /// Fingerprints, 8 bytes each, of <see cref="Tokens"/> with the date that stands beside them, the measures in them,
    /// <see cref="References"/>, and the other times: while one stays, so may the rows.
    /// </summary>
    public byte[] IndexHash { get; }

    /// <summary>The status code, or null.</summary>
    public string? Status { get; }

    /// <summary>Whom it is about, or null.</summary>
    public ReferenceKey? Subject { get; }

    /// <summary>Addresses of resources that are about the same patient, for a type that names none itself.</summary>
    public IReadOnlyList<string> SubjectThrough { get; } = [];

    /// <summary>Codings and identifiers, without repetition.</summary>
    public List<IndexedToken> Tokens { get; } = [];

    /// <summary>References by parameter name, without repetition.</summary>
    public List<(string Parameter, ReferenceKey Key)> References { get; } = [];

    /// <summary>Takes a resource apart. The resource is left as it was; while this runs nobody else may use it.</summary>
    /// <exception cref="ArgumentException">The type is not one of <see cref="IndexedTypes"/>, or the resource has no id.</exception>
    public static ResourceDraft Of(Resource resource)
    {
        var type =
            IndexedTypes.Find(resource.TypeName)
            ?? throw new ArgumentException(
                $"{resource.TypeName} is not among the types the store keeps; IndexedTypes lists them.",
                nameof(resource)
            );
        if (string.IsNullOrEmpty(resource.Id))
            throw new ArgumentException($"This {resource.TypeName} has no id; a resource is stored under one.", nameof(resource));
        return new(type, resource);
    }

    /// <summary>Lets go of the resource: it takes several times the memory of what is stored of it.</summary>
    public void LetGo() => Resource = null!;

    /// <summary>When it happened, or null.</summary>
    /// <param name="zone">The zone of dates without an offset.</param>
    public TimeRange? Date(DateTimeZone zone) => TimeRange.Parse(_dateStart, _dateEnd, zone);

    /// <summary>When it happened, and its other times; one of those that cannot be read is left out.</summary>
    /// <param name="zone">The zone of dates without an offset.</param>
    public DraftTimes Times(DateTimeZone zone) =>
        new(
            Date(zone),
            [
                .. from moment in _moments
                let range = TimeRange.Parse(moment.Start, moment.End, zone)
                where range is not null
                select (moment.Parameter, range.Value),
            ]
        );

    /// <summary>The text to store: the content with <c>meta.versionId</c> and <c>meta.lastUpdated</c>.</summary>
    public string Json(long versionId, Instant lastUpdated)
    {
        var slot = _content.AsSpan().IndexOf(VersionSlot);
        return string.Concat(
            Encoding.UTF8.GetString(_content.AsSpan(0, slot)),
            $"\"versionId\":\"{versionId}\",\"lastUpdated\":\"{LastUpdatedText.Of(lastUpdated)}\"",
            Encoding.UTF8.GetString(_content.AsSpan(slot + VersionSlot.Length))
        );
    }

    private static ReadOnlySpan<byte> Quarter(string text) => SHA256.HashData(Encoding.UTF8.GetBytes(text)).AsSpan(0, 8);

    private static Token TokenOf(string canonical) =>
        canonical.IndexOf('|', StringComparison.Ordinal) is var bar and > 0
            ? new(canonical[(bar + 1)..], canonical[..bar])
            : new("", canonical);

    private static byte[] WithVersionSlot(Resource resource)
    {
        var given = resource.Meta;
        try
        {
            resource.Meta = (Meta?)given?.DeepCopy() ?? new();
            resource.Meta.VersionId = "0";
            resource.Meta.LastUpdated = null;
            return FhirJson.WriteUtf8(resource);
        }
        finally
        {
            resource.Meta = given;
        }
    }

    private static (string? Start, string? End) Ends(DataType? value) =>
        value switch
        {
            FhirDateTime moment => (moment.Value, moment.Value),
            Date day => (day.Value, day.Value),
            // The text, not the parsed value: it may be more precise, and it is what the stored JSON shows.
            Hl7.Fhir.Model.Instant { JsonValue: string text } => (text, text),
            Period period => (period.Start, period.End),
            Timing { Repeat.Bounds: Period bounds } => (bounds.Start, bounds.End),
            Timing { EventElement: { Count: > 0 } events } => (events.Min(moment => moment.Value), events.Max(moment => moment.Value)),
            _ => (null, null),
        };
}
