using System.Collections.Immutable;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using NodaTime;

namespace IrrigationFhir.Subscriptions;

/// <summary>How much of a resource a notification carries.</summary>
internal enum PayloadContent
{
    /// <summary>That something happened, and nothing else.</summary>
    Empty,

    /// <summary>The address of the resource.</summary>
    IdOnly,

    /// <summary>The resource itself.</summary>
    FullResource,
}

/// <summary>What a client asked for, read and checked.</summary>
/// <param name="Topic">What it wants to be told of.</param>
/// <param name="Filters">Of which events; all of these have to hold. None lets every event of the topic pass.</param>
/// <param name="Endpoint">Where to: absolute, http or https, allowed by the rules in force when it was read.</param>
/// <param name="Mime">The Content-Type of a notification.</param>
/// <param name="Content">How much a notification carries.</param>
/// <param name="Headers">
/// Lines <c>Name: value</c> to send along. Their values are secrets: never written to a log, never shown to a reader.
/// </param>
/// <param name="Heartbeat">After how much silence a heartbeat is sent; null sends none.</param>
/// <param name="Timeout">After how long an attempt has failed; null leaves it to the service.</param>
/// <param name="MaxCount">Most events in one notification; at least 1.</param>
/// <param name="End">When it ends; null never.</param>
internal sealed record SubscriptionRequest(
    SubscriptionTopic Topic,
    ImmutableArray<SubscriptionFilter> Filters,
    Uri Endpoint,
    string Mime,
    PayloadContent Content,
    ImmutableArray<string> Headers,
    Duration? Heartbeat,
    Duration? Timeout,
    int MaxCount,
    Instant? End
)
{
    /// <summary>
    /// Whether a client may have what notifications carry: to search the topic's type, and to read it where whole resources come along.
    /// Where a scope has a query, filters have to say what that says: who may have a part of a type asks for that part.
    /// </summary>
    public bool MayBeToldTo(Caller client)
    {
        var (type, letters) = (Topic.ResourceType, Needed(Content));
        return client.Covers(new Need(type, letters))
            && (
                client.Covers(new Need(type, letters) { Whole = true })
                || Enum.GetValues<Letters>()
                    .Where(letter => letter is Letters.Read or Letters.Search && letters.HasFlag(letter))
                    .All(letter => client.Scopes.Any(scope => scope.IsAbout(type) && scope.Letters.HasFlag(letter) && IsWithin(scope)))
            );
    }

    /// <summary>What is needed of a type to be told so much of its resources.</summary>
    public static Letters Needed(PayloadContent content) =>
        content == PayloadContent.FullResource ? Letters.Search | Letters.Read : Letters.Search;

    private bool IsWithin(Scope scope) =>
        Reach.CanKeepTo(scope) && scope.Query.All(pair => Filters.Any(filter => filter.IsWithin(pair.Key, pair.Value)));
}

/// <summary>Which endpoints may be notified.</summary>
internal interface IEndpointRules
{
    /// <summary>Why an endpoint may not be notified, in words that do not repeat it; null where it may.</summary>
    string? Refusal(Uri endpoint);
}
