using System.Collections.Immutable;
using System.Text.Json;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using NodaTime;

namespace IrrigationFhir.Subscriptions;

/// <summary>A request as it is kept in the store. Beware: the header lines are secrets.</summary>
internal sealed record StoredRequest(
    string Topic,
    ImmutableArray<StoredRequest.Filter> Filters,
    string Endpoint,
    string Mime,
    PayloadContent Content,
    ImmutableArray<string> Headers,
    long? Heartbeat,
    long? Timeout,
    int MaxCount,
    long? End
)
{
    /// <summary>One filter, in the form that <see cref="Dialect.Passes"/> reads.</summary>
    internal sealed record Filter(string P, ImmutableArray<string> Any);

    private static readonly JsonSerializerOptions Written = new(JsonSerializerDefaults.Web);

    /// <summary>A row of the store for a request.</summary>
    public static SubscriptionRow Row(string id, string status, string? error, SubscriptionRequest request, LastingAccess owner)
    {
        ImmutableArray<Filter> filters = [.. request.Filters.Select(filter => new Filter(filter.Parameter, filter.AnyOf))];
        var stored = new StoredRequest(
            request.Topic.Slug,
            filters,
            request.Endpoint.OriginalString,
            request.Mime,
            request.Content,
            request.Headers,
            request.Heartbeat?.ToInt64Nanoseconds(),
            request.Timeout?.ToInt64Nanoseconds(),
            request.MaxCount,
            request.End is { } end ? UnixNanoseconds.Of(end) : null
        );
        return new(
            id,
            status,
            request.Topic.Slug,
            JsonSerializer.Serialize(filters, Written),
            JsonSerializer.Serialize(stored, Written),
            error,
            Events: 0,
            Delivered: 0,
            StartedAt: null,
            FailingSince: null,
            Attempts: 0,
            LastFailure: null,
            LastSentAt: null,
            request.Heartbeat,
            request.End
        )
        {
            Owner = owner,
        };
    }

    /// <summary>A subscription, from its row.</summary>
    public static SubscriptionState State(SubscriptionRow row) =>
        new(
            row.Id,
            row.Version,
            row.Status,
            Of(row).ToRequest(),
            row.Error,
            row.Events,
            row.Delivered,
            row.StartedAt,
            row.FailingSince,
            row.Attempts,
            row.LastFailure,
            row.LastSentAt,
            row.Owner
        );

    private static StoredRequest Of(SubscriptionRow row) => JsonSerializer.Deserialize<StoredRequest>(row.Request, Written)!;

    private SubscriptionRequest ToRequest() =>
        new(
            Topics.All.First(topic => topic.Slug == Topic),
            [.. Filters.Select(filter => new SubscriptionFilter(filter.P, filter.Any))],
            new Uri(Endpoint),
            Mime,
            Content,
            Headers,
            Heartbeat is { } heartbeat ? Duration.FromNanoseconds(heartbeat) : null,
            Timeout is { } timeout ? Duration.FromNanoseconds(timeout) : null,
            MaxCount,
            End is { } end ? UnixNanoseconds.ToInstant(end) : null
        );
}
