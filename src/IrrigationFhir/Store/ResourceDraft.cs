using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;
using IrrigationFhir.Search;
using DateTimeZone = NodaTime.DateTimeZone;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Store;

/// <summary>A coding of a resource, identifiers apart.</summary>
/// <param name="Parameter">The name its <see cref="IndexedParameter.Coded"/> looks for it under.</param>
/// <param name="Part">As in <see cref="CodedValue"/>.</param>
/// <param name="Token">The coding or canonical.</param>
internal readonly record struct IndexedCoding(string Parameter, int Part, Token Token) : IMember
{
    /// <inheritdoc/>
    public string Text => $"{Parameter}\u001e{Part}\u001e{Token.System}\u001e{Token.Value}";
}

/// <summary>A reference of a resource.</summary>
/// <param name="Parameter">The name its <see cref="IndexedParameter.Reference"/> looks for it under.</param>
/// <param name="Key">What it is found by.</param>
internal readonly record struct IndexedReference(string Parameter, ReferenceKey Key) : IMember
{
    /// <inheritdoc/>
    public string Text => $"{Parameter}\u001e{Key.Target}\u001e{Key.Identifier?.System}\u001e{Key.Identifier?.Value}";
}

/// <summary>A member of a <see cref="SharedSet{T}"/>.</summary>
internal interface IMember
{
    /// <summary>All of it in one text, which no other member has.</summary>
    string Text { get; }
}

/// <summary>The times of a draft in the zone of the store.</summary>
/// <param name="Date">When it happened, or null.</param>
/// <param name="Others">Other times, by parameter name.</param>
internal sealed record DraftTimes(TimeRange? Date, IReadOnlyList<(string Parameter, TimeRange Range)> Others);

/// <summary>What many resources say alike, and a fingerprint that it is known by; null stands for nothing said.</summary>
internal sealed record SharedSet<T>(byte[] Key, IReadOnlyList<T> Members)
    where T : IMember
{
    /// <summary>The set of some members; null where there are none. Neither order nor repetition plays a part.</summary>
    public static SharedSet<T>? Of(IEnumerable<T> members)
    {
        var byText = new SortedDictionary<string, T>(StringComparer.Ordinal);
        foreach (var member in members)
            byText[member.Text] = member;
        return byText.Count == 0
            ? null
            : new(
                SHA256.HashData(Encoding.UTF8.GetBytes(string.Join('\u001f', byText.Keys)))[..ResourceDraft.FingerprintLength],
                [.. byText.Values]
            );
    }
}

/// <summary>A resource on its way into the store: its text, what it is found by, and a fingerprint.</summary>
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
        ContentHash = SHA256.HashData(_content)[..FingerprintLength];

        var (codings, components) = (new List<IndexedCoding>(), new Dictionary<int, IndexedQuantity>());
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
                case IndexedParameter.Quantity { Of: { } of }:
                    Measure = IndexedQuantity.Of(of(resource));
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
                case IndexedParameter.Coded { Name: IndexedTypes.Identifier, Of: { } of }:
                    Identifiers = [.. of(resource).Select(value => value.Token).Distinct()];
                    break;
                case IndexedParameter.Coded { Of: { } of } coded:
                    foreach (var value in of(resource))
                    {
                        codings.Add(new(coded.Name, value.Part, value.Token));
                        if (IndexedQuantity.Of(value.Value) is not { } quantity)
                            continue;
                        if (value.Part == 0)
                            Measure = quantity;
                        else
                            components[value.Part] = quantity;
                    }

                    break;
                case IndexedParameter.Canonical canonical:
                    codings.AddRange(canonical.Of(resource).Select(one => new IndexedCoding(canonical.Name, 0, TokenOf(one))));
                    break;
                case IndexedParameter.Text text:
                    codings.AddRange(text.Of(resource).Select(value => new IndexedCoding(text.Name, 0, new("", value))));
                    break;
                case IndexedParameter.Reference reference:
                    References.AddRange(
                        reference.Of(resource).Select(ReferenceKey.Of).OfType<ReferenceKey>().Distinct().Select(key => (reference, key))
                    );
                    break;
            }
        }

        Codes = SharedSet<IndexedCoding>.Of(codings.Where(coding => coding.Parameter == IndexedTypes.OwnCode));
        Labels = SharedSet<IndexedCoding>.Of(codings.Where(coding => coding.Parameter != IndexedTypes.OwnCode));
        Components = components;
    }

    /// <summary>How long fingerprints are here, in bytes.</summary>
    public const int FingerprintLength = 16;

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

    /// <summary>The status code, or null.</summary>
    public string? Status { get; }

    /// <summary>Whom it is about, or null.</summary>
    public ReferenceKey? Subject { get; }

    /// <summary>Addresses of resources that are about the same patient, for a type that names none itself.</summary>
    public IReadOnlyList<string> SubjectThrough { get; } = [];

    /// <summary>What it is: the codings of its code.</summary>
    public SharedSet<IndexedCoding>? Codes { get; }

    /// <summary>All its other codings, of components too.</summary>
    public SharedSet<IndexedCoding>? Labels { get; }

    /// <summary>Its value, or null.</summary>
    public IndexedQuantity? Measure { get; }

    /// <summary>Values of its components, by their part.</summary>
    public IReadOnlyDictionary<int, IndexedQuantity> Components { get; }

    /// <summary>Its identifiers, without repetition.</summary>
    public IReadOnlyList<Token> Identifiers { get; } = [];

    /// <summary>References by parameter, without repetition.</summary>
    public List<(IndexedParameter.Reference Parameter, ReferenceKey Key)> References { get; } = [];

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

    /// <summary>The text to store, in UTF-8: the content with <c>meta.versionId</c> and <c>meta.lastUpdated</c>.</summary>
    public byte[] Json(long versionId, Instant lastUpdated)
    {
        var slot = _content.AsSpan().IndexOf(VersionSlot);
        return
        [
            .. _content.AsSpan(0, slot),
            .. Encoding.UTF8.GetBytes($"\"versionId\":\"{versionId}\",\"lastUpdated\":\"{LastUpdatedText.Of(lastUpdated)}\""),
            .. _content.AsSpan(slot + VersionSlot.Length),
        ];
    }

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
