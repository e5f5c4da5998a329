using System.Text.Json;
using System.Text.Json.Serialization;
using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using NodaTime.Text;
using Duration = NodaTime.Duration;

namespace IrrigationFhir.Subscriptions;

/// <summary>A subscription between its request and its row: the row holds everything, the resource beside it only what its client may see.</summary>
internal static class StoredSubscription
{
    /// <summary>The row of a request.</summary>
    /// <param name="id">Its logical id.</param>
    /// <param name="status">Its status.</param>
    /// <param name="request">What was asked for.</param>
    /// <param name="error">What went wrong, where the status is error.</param>
    public static SubscriptionRow ToRow(string id, string status, SubscriptionRequest request, string? error) => new(
        id,
        status,
        request.Topic.Slug,
        JsonSerializer.Serialize(request.Filters.Select(filter => new StoredFilter(filter.Parameter, [.. filter.AnyOf]))),
        JsonSerializer.Serialize(new StoredRequest(
            request.Endpoint.OriginalString, request.Mime, Irrigation.Slug.Of(request.Content), [.. request.Headers], (long?)request.Timeout?.TotalSeconds, request.MaxCount)),
        error,
        0,
        0,
        null,
        null,
        0,
        null,
        null,
        request.Heartbeat,
        request.End);

    /// <summary>What a row holds.</summary>
    /// <param name="row">The row.</param>
    /// <param name="version">The version of its resource.</param>
    /// <exception cref="InvalidOperationException">The row names a topic or a content that this version of the service does not know.</exception>
    public static SubscriptionState ToState(SubscriptionRow row, long version)
    {
        var request = JsonSerializer.Deserialize<StoredRequest>(row.Request)!;
        var filters = JsonSerializer.Deserialize<StoredFilter[]>(row.Filters)!;
        return new(
            row.Id,
            version,
            row.Status,
            new(
                Topics.All.Single(topic => topic.Slug == row.Topic),
                [.. filters.Select(filter => new SubscriptionFilter(filter.Parameter, [.. filter.AnyOf]))],
                new(request.Endpoint),
                request.Mime,
                Irrigation.Slug.Read<PayloadContent>(request.Content) ?? throw new InvalidOperationException("a content that is not known"),
                [.. request.Headers],
                row.Heartbeat,
                request.Timeout is { } seconds ? Duration.FromSeconds(seconds) : null,
                request.MaxCount,
                row.EndsAt),
            row.Error,
            row.Events,
            row.Delivered,
            row.StartedAt,
            row.FailingSince,
            row.Attempts,
            row.LastFailure,
            row.LastSentAt);
    }

    /// <summary>What a client may see of it: without the values of headers, and without a narrative, which might repeat them.</summary>
    /// <param name="sent">As it was sent, or as it was seen before; changed in place.</param>
    /// <param name="id">Its logical id.</param>
    /// <param name="status">Its status.</param>
    /// <param name="error">What went wrong, where the status is error.</param>
    /// <param name="headers">The lines that are stored.</param>
    public static ResourceDraft Draft(Subscription sent, string id, string status, string? error, IEnumerable<string> headers)
    {
        sent.Id = id;
        sent.Text = null;
        sent.Meta ??= new();
        if (!sent.Meta.Profile.Contains(Profiles.Backport.Subscription)) sent.Meta.Profile = [.. sent.Meta.Profile, Profiles.Backport.Subscription];
        sent.Status = EnumUtility.ParseLiteral<Subscription.SubscriptionStatus>(status);
        sent.Error = status == "error" ? error : null;
        sent.Channel.Header = [.. headers.Select(HeaderLines.Shown)];
        return ResourceDraft.Of(sent);
    }

    /// <summary>An event of the store as one that is told.</summary>
    public static NotificationEvent ToEvent(SubscriptionEventRow row) => new(row.Number, row.At, row.Event, row.Type, row.Id, row.VersionId, string.IsNullOrEmpty(row.Json) ? null : row.Json);

    // The names are those that the store's statements look for.
    private sealed record StoredFilter([property: JsonPropertyName("p")] string Parameter, [property: JsonPropertyName("any")] string[] AnyOf);

    private sealed record StoredRequest(string Endpoint, string Mime, string Content, string[] Headers, long? Timeout, int MaxCount);
}
