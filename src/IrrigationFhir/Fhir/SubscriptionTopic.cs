using System.Collections.Immutable;

namespace IrrigationFhir.Fhir;

/// <summary>Something that a system can ask to be told of.</summary>
/// <param name="Slug">Its name, the last part of its canonical URL.</param>
/// <param name="Title">In a few words.</param>
/// <param name="Description">When an event of it happens.</param>
/// <param name="ResourceType">The type of the resource that an event is about.</param>
/// <param name="Filters">The parameters that an event can be filtered by; see <see cref="EventAttributes"/>.</param>
internal sealed record SubscriptionTopic(
    string Slug,
    string Title,
    string Description,
    string ResourceType,
    ImmutableArray<string> Filters
);

/// <summary>The list of topics. What is served, claimed and published comes from it; a new topic is one more line.</summary>
internal static class Topics
{
    /// <summary>A flag is raised, or asks for attention sooner or later than before.</summary>
    public static SubscriptionTopic FlagRaised { get; } =
        new(
            "flag-raised",
            "A flag is raised",
            "A Flag becomes active, or the priority of an active Flag changes. A subscriber that was told of a Flag is told too "
                + "when that Flag is withdrawn (entered-in-error).",
            "Flag",
            ["patient", "patient.identifier", "code", "priority"]
        );

    /// <summary>A flag no longer stands.</summary>
    public static SubscriptionTopic FlagResolved { get; } =
        new(
            "flag-resolved",
            "A flag is cleared or withdrawn",
            "A Flag that was active is cleared (inactive), or late or corrected entries show that it was never so (entered-in-error).",
            "Flag",
            ["patient", "patient.identifier", "code", "priority"]
        );

    /// <summary>A published output is another than it was.</summary>
    public static SubscriptionTopic CorrectedOutputAmended { get; } =
        new(
            "corrected-output-amended",
            "A corrected urine output is changed",
            "A published Observation of corrected urine output gets a version of status amended, corrected or entered-in-error: "
                + "whoever used the number before has to look again.",
            "Observation",
            ["patient", "patient.identifier", "category"]
        );

    /// <summary>All of them.</summary>
    public static ImmutableArray<SubscriptionTopic> All { get; } = [FlagRaised, FlagResolved, CorrectedOutputAmended];

    /// <summary>The topic of a canonical URL, with or without the version that is in force; null where there is none.</summary>
    public static SubscriptionTopic? Find(string canonical, Profiles profiles)
    {
        var (url, version) = canonical.IndexOf('|', StringComparison.Ordinal) is var bar and >= 0
            ? (canonical[..bar], canonical[(bar + 1)..])
            : (canonical, Profiles.Version);
        return version == Profiles.Version ? All.FirstOrDefault(topic => profiles.SubscriptionTopic(topic.Slug) == url) : null;
    }
}
