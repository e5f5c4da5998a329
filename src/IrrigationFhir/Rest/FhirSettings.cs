using IrrigationFhir.Fhir;

namespace IrrigationFhir.Rest;

/// <summary>Settings of the FHIR interface, section <c>Fhir</c> of the configuration.</summary>
internal sealed class FhirSettings
{
    /// <summary>Default of <see cref="MaxBodyBytes"/>: 4 MiB, some thousands of entries.</summary>
    public const long DefaultMaxBodyBytes = 4 * 1024 * 1024;

    /// <summary>Absolute address of the FHIR base as clients see it, such as <c>https://ward.example/fhir</c>; no default.</summary>
    /// <remarks>When absent, links carry the scheme and host of each request, which is right only without a proxy in between.</remarks>
    public string? BaseUrl { get; set; }

    /// <summary>Absolute URL that our profiles, code systems and topics begin with.</summary>
    /// <remarks>
    /// Default <see cref="Profiles.DefaultCanonicalBase"/>. Resources of two bases must not mix: choose it before the first episode.
    /// </remarks>
    public string? CanonicalBase { get; set; }

    /// <summary>Resources per page when a search asks for no <c>_count</c>. Default 100, range 1 to <see cref="MaxCount"/>.</summary>
    public int DefaultCount { get; set; } = 100;

    /// <summary>
    /// Most resources per page, and most that come along with one; a larger <c>_count</c> is cut to this and the self link says so. Default
    /// 1000, range 1 to 10,000.
    /// </summary>
    public int MaxCount { get; set; } = 1000;

    /// <summary>Largest request body in bytes, after which the answer is 413. Default 4 MiB, range 1 KiB to 1 GiB.</summary>
    public long MaxBodyBytes { get; set; } = DefaultMaxBodyBytes;

    /// <summary>A request whose body has not come within so many seconds is answered 408. Default 30, range 1 to 600.</summary>
    public int BodySeconds { get; set; } = 30;

    /// <summary>Whether replies are packed (Brotli, gzip) for clients that ask for it. Default true.</summary>
    public bool CompressReplies { get; set; } = true;

    /// <summary>Our words below that base.</summary>
    public Vocabulary Vocabulary => new(CanonicalBase is { Length: > 0 } url ? url : Profiles.DefaultCanonicalBase);

    /// <summary><see cref="BodySeconds"/> as a time.</summary>
    public TimeSpan BodyDeadline => TimeSpan.FromSeconds(BodySeconds);

    /// <summary>Reads and checks the section.</summary>
    /// <exception cref="SettingsFault">One or more settings cannot be used; the message names all of them.</exception>
    public static FhirSettings Read(IConfiguration configuration) =>
        SettingsSection.Read<FhirSettings>(configuration, "Fhir", read => read.Faults());

    private IEnumerable<string> Faults()
    {
        if (BaseUrl is not null && !(Uri.TryCreate(BaseUrl, UriKind.Absolute, out var address) && address.Scheme is "http" or "https"))
            yield return $"Fhir:BaseUrl: '{BaseUrl}'; an absolute http or https address is expected";
        if (CanonicalBase is { Length: > 0 } && !Profiles.IsCanonicalBase(CanonicalBase))
            yield return $"Fhir:CanonicalBase: '{CanonicalBase}'; an absolute http or https URL without query or fragment is expected";
        if (MaxCount is < 1 or > 10_000)
            yield return $"Fhir:MaxCount: {MaxCount}; 1 to 10000 is expected";
        if (DefaultCount < 1 || DefaultCount > MaxCount)
            yield return $"Fhir:DefaultCount: {DefaultCount}; 1 to Fhir:MaxCount ({MaxCount}) is expected";
        if (MaxBodyBytes is < 1024 or > 1024 * 1024 * 1024)
            yield return $"Fhir:MaxBodyBytes: {MaxBodyBytes}; 1024 to 1073741824 is expected";
        if (BodySeconds is < 1 or > 600)
            yield return $"Fhir:BodySeconds: {BodySeconds}; 1 to 600 is expected";
    }
}
