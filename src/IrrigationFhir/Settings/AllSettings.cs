using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Intake;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using IrrigationFhir.Subscriptions;

namespace IrrigationFhir.Settings;

/// <summary>The settings of every room: checked together, so that whoever mends one fault is not sent back for the next.</summary>
internal static class AllSettings
{
    /// <summary>The sections of the service's own settings, each with the names that stand directly in it.</summary>
    /// <remarks>Deeper names are known by <see cref="SiteSettings"/>, which names a mistyped one at the start.</remarks>
    private static readonly (string Section, Type? Settings)[] Sections =
    [
        ("Data", typeof(StoreSettings)),
        ("Fhir", typeof(FhirSettings)),
        ("Intake", typeof(IntakeSettings)),
        ("Subscriptions", typeof(SubscriptionSettings)),
        ("Access", typeof(AccessSettings)),
        ("Measuring", null),
        ("Balance", null),
        ("Criteria", null),
        ("Forecasts", null),
        ("Flags", null),
        ("Entries", null),
    ];

    /// <summary>Every key that has a fixed name, of the service and of its host: what a mistyped one is compared with.</summary>
    public static IReadOnlyList<string> Keys =>
        [
            .. from section in Sections
            where section.Settings is not null
            from property in section.Settings.GetProperties()
            where property.SetMethod?.IsPublic == true
            select $"{section.Section}:{property.Name}",
            .. SiteSettings.Read(new ConfigurationBuilder().Build()).All.Select(s => s.Key),
            .. HostSettings.Keys,
        ];

    /// <summary>Whether a key names a setting, or something in a section of them: what is wrong inside one is said at the start.</summary>
    public static bool Knows(string key) =>
        Sections.Any(s => key.StartsWith($"{s.Section}:", StringComparison.OrdinalIgnoreCase)) || HostSettings.Knows(key);

    /// <summary>Whether a key is that of a whole section. Tools that hand a configuration on give those too, without a value.</summary>
    public static bool IsSection(string key) =>
        Sections.Any(s => key.Equals(s.Section, StringComparison.OrdinalIgnoreCase)) || HostSettings.IsSection(key);

    /// <summary>Reads all of them.</summary>
    /// <exception cref="SettingsFault">Some cannot be used; all of those are named.</exception>
    public static void Check(IConfiguration configuration)
    {
        var faults = new List<string>();
        void Try(Action read)
        {
            try
            {
                read();
            }
            catch (SettingsFault fault)
            {
                faults.AddRange(fault.Message.Split(Environment.NewLine));
            }
        }

        Try(() => StoreSettings.Read(configuration));
        var vocabulary = new Vocabulary(Profiles.DefaultCanonicalBase);
        Try(() => vocabulary = FhirSettings.Read(configuration).Vocabulary);
        Try(() => AccessGate.Read(configuration));
        Try(() => IntakeSettings.Read(configuration));
        Try(() => KindMap.Read(configuration, vocabulary.Profiles));
        Try(() => SubscriptionSettings.Read(configuration));
        Try(() => SiteSettings.Read(configuration));
        Try(() => HostSettings.Check(configuration));
        if (faults.Count > 0)
            throw new SettingsFault(faults);
    }
}
