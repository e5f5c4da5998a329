using System.Globalization;
using Irrigation.Episodes;
using IrrigationFhir.Fhir;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Subscriptions;

/// <summary>Why a Subscription was not taken. Neither an endpoint nor a header's value is repeated: both can hold secrets.</summary>
internal static class SubscriptionProblem
{
    /// <summary>A topic that is not served.</summary>
    public static EntryProblem UnknownTopic(string where, Profiles profiles) =>
        new(
            "subscription-topic-unknown",
            where,
            "a topic that is not served here",
            $"the canonical URL of a topic: {string.Join(", ", Topics.All.Select(topic => profiles.SubscriptionTopic(topic.Slug)))}"
        );

    /// <summary>A filter for a type that the topic is not about.</summary>
    public static EntryProblem FilterOfAnotherType(string where, SubscriptionTopic topic) =>
        new(
            "subscription-filter-unsupported",
            where,
            "a filter of another form or type",
            $"{topic.ResourceType}?{topic.Filters[0]}=… or {topic.ResourceType}.{topic.Filters[0]}=…, "
                + $"with {string.Join(", ", topic.Filters)}"
        );

    /// <summary>A parameter that the topic cannot be filtered by.</summary>
    public static EntryProblem UnknownFilter(string where, string name, SubscriptionTopic topic) =>
        new(
            "subscription-filter-unsupported",
            where,
            $"filter '{Clip(name)}'",
            $"one of {string.Join(", ", topic.Filters)}, or patient:identifier; no other modifiers and no prefixes"
        );

    /// <summary>A value that the parameter cannot have.</summary>
    public static EntryProblem FilterValue(string where, string parameter, string saw, string expected) =>
        new("subscription-filter-unsupported", where, $"filter '{parameter}' with {saw}", expected);

    /// <summary>Too many conditions.</summary>
    public static EntryProblem TooManyFilters(string where, int count) =>
        new("subscription-filter-unsupported", where, $"{count} conditions", $"at most {SubscriptionFilter.Most}");

    /// <summary>A channel that is not served.</summary>
    public static EntryProblem Channel(string where, string saw) =>
        new(
            "subscription-channel-unsupported",
            where,
            saw,
            "rest-hook: notifications are posted to an endpoint, and reach nobody otherwise"
        );

    /// <summary>An endpoint that is malformed or may not be notified.</summary>
    public static EntryProblem Endpoint(string where, string saw) =>
        new(
            "subscription-endpoint-refused",
            where,
            saw,
            "an absolute http or https URL without user and fragment, which the rules of this site allow"
        );

    /// <summary>A media type that is not written.</summary>
    public static EntryProblem Payload(string where, string saw) =>
        new("subscription-payload-unsupported", where, saw, "application/fhir+json or application/json, alone or with fhirVersion=4.0");

    /// <summary>A content that is not sent, or not this way.</summary>
    public static EntryProblem Content(string where, string saw, string expected) =>
        new("subscription-content-unsupported", where, saw, expected);

    /// <summary>An extension that stands for an element of another version of FHIR.</summary>
    public static EntryProblem CrossVersion(string where) =>
        new(
            "subscription-cross-version-extension",
            where,
            "an extension of another version of FHIR",
            "the extensions of the Subscriptions R5 Backport guide (http://hl7.org/fhir/uv/subscriptions-backport)"
        );

    /// <summary>An extension that could change what is sent and is not understood.</summary>
    public static EntryProblem UnknownExtension(string where) =>
        new(
            "subscription-extension-unknown",
            where,
            "an extension that is not understood here",
            "only the extensions of the Subscriptions R5 Backport guide in this place"
        );

    /// <summary>An extension twice that may stand once.</summary>
    public static EntryProblem Repeated(string where, string what) => new("repeated-property", where, $"{what} more than once", "once");

    /// <summary>Another topic than the subscription was made for.</summary>
    public static EntryProblem AnotherTopic(string where) =>
        new(
            "subscription-topic-changed",
            where,
            "another topic than it was made for",
            "the same topic, for its events are numbered in one line; a new Subscription for another"
        );

    /// <summary>An end that cannot be kept.</summary>
    public static EntryProblem EndOutOfRange(string where) =>
        new("subscription-end-out-of-range", where, "an end before 1900 or after 2259", "an end in between, or none");

    /// <summary>An end that has passed.</summary>
    public static EntryProblem Ended(string where, Instant now) =>
        new("subscription-ended", where, "an end that has passed", $"an instant after {InstantPattern.ExtendedIso.Format(now)}, or no end");

    /// <summary>A number outside its range.</summary>
    public static EntryProblem OutOfRange(string where, int? saw, string type, int from, int to, string unit) =>
        EntryProblem.OutOfRange(
            where,
            saw is { } number ? number.ToString(CultureInfo.InvariantCulture) : $"no {type}",
            string.Create(CultureInfo.InvariantCulture, $"{type} from {from} to {to}{unit}")
        );

    /// <summary>A header line that cannot be sent.</summary>
    public static EntryProblem Header(string where, string saw, string expected) =>
        new("subscription-header-refused", where, saw, expected);

    /// <summary>A status that a client may not give.</summary>
    public static EntryProblem Status(string where, string saw, string expected) =>
        new("subscription-status-refused", where, saw, expected);

    /// <summary>What the sender wrote, short and printable.</summary>
    public static string Clip(string text)
    {
        var shown = new string([.. text.Take(64).Select(c => char.IsControl(c) ? '?' : c)]);
        return text.Length > 64 ? shown + "…" : shown;
    }
}
