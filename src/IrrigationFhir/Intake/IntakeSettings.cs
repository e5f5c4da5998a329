namespace IrrigationFhir.Intake;

/// <summary>Settings of the FHIR intake, section <c>Intake</c> of the configuration.</summary>
internal sealed class IntakeSettings
{
    /// <summary>
    /// Path of a FHIR R4 ConceptMap from the codes of the site's devices to kinds of entry. Default: ours. A map that is set replaces ours.
    /// </summary>
    public string? ConceptMap { get; set; }

    /// <summary>At most so many entries in a Bundle, after which the answer is 413. Default 1,000, range 1 to 10,000.</summary>
    public int MostBundleEntries { get; set; } = 1000;

    /// <summary>
    /// At most so many writing requests at once; more are asked to come back (429). Default 256, range 1 to 4,096: what the writer's line
    /// holds.
    /// </summary>
    public int MostAtOnce { get; set; } = 256;

    /// <summary>Reads and checks the section.</summary>
    /// <exception cref="SettingsFault">One or more settings cannot be used; the message names all of them.</exception>
    public static IntakeSettings Read(IConfiguration configuration) =>
        SettingsSection.Read<IntakeSettings>(configuration, "Intake", read => read.Faults());

    private IEnumerable<string> Faults()
    {
        if (MostBundleEntries is < 1 or > 10_000)
            yield return $"Intake:MostBundleEntries: {MostBundleEntries}; 1 to 10000 is expected";
        if (MostAtOnce is < 1 or > 4096)
            yield return $"Intake:MostAtOnce: {MostAtOnce}; 1 to 4096 is expected";
    }
}
