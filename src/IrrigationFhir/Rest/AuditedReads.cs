using IrrigationFhir.Audit;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>A version that an answer shows, whole or in part.</summary>
internal readonly record struct ShownVersion(string Type, string Id, long Version)
{
    /// <summary>One that is stored.</summary>
    public static ShownVersion Of(ResourceVersion stored) => new(stored.Type, stored.Id, stored.VersionId);

    /// <summary>One that is read out.</summary>
    public static ShownVersion Of(ScannedResource read) => new(read.Type, read.Id, read.VersionId);

    /// <summary>The episode that it belongs to; null where it is about no patient. Ids begin with that of their episode.</summary>
    public string? Episode => Id.IndexOf('.', StringComparison.Ordinal) is var dot and > 0 ? Id[..dot] : null;

    /// <summary>Its address.</summary>
    public string Address => $"{Type}/{Id}/_history/{Version}";
}

/// <summary>What the audit says of a read below the FHIR base: the one place for all of them, over HTTP and within Bundles.</summary>
internal static class AuditedReads
{
    // What defines the service is nobody's.
    private static readonly string[] OfNobody = ["metadata", "Basic", "ViewDefinition"];

    /// <summary>
    /// The interaction that an address is, as the code of restful-interaction; null for what is about no patient and nobody's business.
    /// </summary>
    public static string? Interaction(string address) =>
        OfNobody.Contains(address.Split('/')[0]) ? null
        : address.Contains('$', StringComparison.Ordinal) ? "operation"
        : address.EndsWith("/_history/{version}", StringComparison.Ordinal) ? "vread"
        : address.EndsWith("{id}/_history", StringComparison.Ordinal) ? "history-instance"
        : address.EndsWith("/_history", StringComparison.Ordinal) ? "history-type"
        : address.EndsWith("{id}", StringComparison.Ordinal) ? "read"
        : "search-type";

    /// <summary>What an interaction is.</summary>
    public static Deed DeedOf(string interaction) => interaction is "read" or "vread" or "history-instance" ? Deed.Read : Deed.Query;

    /// <summary>What is recorded of an answer, before it leaves.</summary>
    public static Shown Of(string interaction, string address, FhirQuestion question, IFhirAnswer answer)
    {
        var deed = DeedOf(interaction);
        var isRead = deed == Deed.Read;
        return new(deed, interaction)
        {
            Resources = isRead ? Meant(interaction, address, question, answer) : [],
            Episodes = Episodes(answer.Shown),
            Patients = answer.Patients,
            Query = isRead ? null : question.Asked,
            Outcome = OutcomeOf(answer.StatusCode),
            Code = answer.StatusCode < 400 ? null : (answer as OutcomeResult)?.Code,
        };
    }

    /// <summary>The episodes of what is shown, each once.</summary>
    public static IReadOnlyList<string> Episodes(IEnumerable<ShownVersion> shown)
    {
        // Mostly all is of one patient.
        List<string> episodes = [];
        foreach (var one in shown)
        {
            if (
                episodes is [.., var last]
                && one.Id.Length > last.Length
                && one.Id[last.Length] == '.'
                && one.Id.StartsWith(last, StringComparison.Ordinal)
            )
                continue;
            if (one.Episode is { } episode && !episodes.Contains(episode))
                episodes.Add(episode);
        }

        return episodes;
    }

    /// <summary>How a request ended.</summary>
    public static DeedOutcome OutcomeOf(int status) =>
        status switch
        {
            < 400 => DeedOutcome.Success,
            StatusCodes.Status403Forbidden or >= 500 => DeedOutcome.Serious,
            _ => DeedOutcome.Minor,
        };

    private static IReadOnlyList<string> Meant(string interaction, string address, FhirQuestion question, IFhirAnswer answer)
    {
        if (interaction != "history-instance" && answer.Shown is [var version])
            return [version.Address];
        var (type, id) = (address.Split('/')[0], question.Id);
        return IsId(id) ? [$"{type}/{id}"] : [];
    }

    // What is no id of FHIR may be anything, and names nothing.
    private static bool IsId(string text) =>
        text.Length is > 0 and <= 64 && text.All(letter => char.IsAsciiLetterOrDigit(letter) || letter is '-' or '.');
}
