namespace IrrigationFhir.Access;

/// <summary>Who is let in.</summary>
internal enum AccessMode
{
    /// <summary>Everybody on this machine, and nobody else.</summary>
    Open,

    /// <summary>Whoever brings a token of the site's issuer.</summary>
    Tokens,

    /// <summary>Whoever brings a token that this service issued to a client that is registered here.</summary>
    Own,
}

/// <summary>Settings of access control, section <c>Access</c> of the configuration.</summary>
internal sealed class AccessSettings
{
    /// <summary><c>open</c>, <c>tokens</c> or <c>own</c>. Default <c>open</c>: this machine only.</summary>
    public AccessMode Mode { get; set; }

    /// <summary>
    /// Whether an open service may be reached from elsewhere: somebody else guards it (a gateway, a port of a container that is published
    /// on this machine alone). Said at each start and at <c>/health/ready</c>. Default false.
    /// </summary>
    public bool OpenToNetwork { get; set; }

    /// <summary>The issuer whose tokens are good (<c>tokens</c>), as its <c>iss</c>; its keys are found below it. No default.</summary>
    public string? Issuer { get; set; }

    /// <summary>Whom tokens have to be for, as their <c>aud</c>. Default: <c>Fhir:BaseUrl</c>.</summary>
    public string? Audience { get; set; }

    /// <summary>The claim of a token that names the facilities its client sees; without it all are seen. No default.</summary>
    public string? FacilityClaim { get; set; }

    /// <summary>The facilities that are served, by the names that registrations and tokens use. Default: one without a name.</summary>
    public string[] Facilities { get; set; } = [];

    /// <summary>The file in which clients are registered (<c>own</c>). No default.</summary>
    public string? ClientsFile { get; set; }

    /// <summary>
    /// How long is kept who did what: whole days older than that are taken away. Default 3653 days (10 years), at least 1 day; our
    /// judgement, and a site's law may ask for more.
    /// </summary>
    public TimeSpan AuditKeep { get; set; } = TimeSpan.FromDays(3653);

    /// <summary>Whether nobody but this machine may reach it.</summary>
    public bool IsOfThisMachine => Mode == AccessMode.Open && !OpenToNetwork;

    /// <summary>Reads and checks the section.</summary>
    /// <exception cref="SettingsFault">One or more settings cannot be used; the message names all of them.</exception>
    public static AccessSettings Read(IConfiguration configuration) =>
        SettingsSection.Read<AccessSettings>(configuration, "Access", read => read.Faults(configuration));

    /// <summary>Whether a text can be the name of a facility.</summary>
    public static bool IsFacility(string name) =>
        name.Length is > 0 and <= 64 && name.All(letter => char.IsAsciiLetterOrDigit(letter) || letter is '.' or '-' or '_');

    private IEnumerable<string> Faults(IConfiguration configuration)
    {
        if (!Enum.IsDefined(Mode))
            yield return $"Access:Mode: {Mode}; open, tokens or own is expected";
        if (IsOfThisMachine)
        {
            foreach (var fault in OpenToThisMachine.Widened(configuration))
                yield return fault;
            if (configuration["AllowedHosts"]?.Split(';', StringSplitOptions.TrimEntries).Contains("*") is true)
                yield return "AllowedHosts: '*' lets pages from elsewhere ask an open service; name the hosts";
        }

        foreach (var name in Facilities.Where(name => !IsFacility(name)))
            yield return $"Access:Facilities: '{name}'; 1 to 64 letters, digits, dots, hyphens or underscores are expected";
        foreach (var name in Facilities.GroupBy(name => name).Where(group => group.Count() > 1).Select(group => group.Key))
            yield return $"Access:Facilities: '{name}'; named twice";
        if (Mode != AccessMode.Open && OpenToNetwork)
            yield return "Access:OpenToNetwork: true; it is for Access:Mode=open alone";
        if (AuditKeep < TimeSpan.FromDays(1) || AuditKeep > TimeSpan.FromDays(36_525))
            yield return $"Access:AuditKeep: '{AuditKeep}'; 1 day (1.00:00:00) to 100 years is expected";
    }
}
