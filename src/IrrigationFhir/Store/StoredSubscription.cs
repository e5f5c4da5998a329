using System.Text.Json;
using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>A row of <c>subscription</c>, as it is read.</summary>
internal sealed class StoredSubscription
{
    /// <summary>The columns, under the names of the properties.</summary>
    public static readonly string Columns = $"""
        id as Id, status as Status, topic as Topic, filters as Filters, request as Request, error as Error,
        events as Events, delivered as Delivered, started_at as StartedAt, failing_since as FailingSince,
        attempts as Attempts, last_failure as LastFailure, last_sent_at as LastSentAt,
        heartbeat as Heartbeat, ends_at as EndsAt, client as Client, scopes as Scopes, facilities as Facilities,
        (select r.version_id from resource r
         where r.type = {IndexedTypes.NumberOf("Subscription")} and r.id = subscription.id) as Version
        """;

    public string Id { get; set; } = "";

    public string Status { get; set; } = "";

    public string Topic { get; set; } = "";

    public string Filters { get; set; } = "";

    public string Request { get; set; } = "";

    public string? Error { get; set; }

    public long Events { get; set; }

    public long Delivered { get; set; }

    public long? StartedAt { get; set; }

    public long? FailingSince { get; set; }

    public int Attempts { get; set; }

    public string? LastFailure { get; set; }

    public long? LastSentAt { get; set; }

    public long? Heartbeat { get; set; }

    public long? EndsAt { get; set; }

    public long Version { get; set; }

    public string Client { get; set; } = "";

    public string Scopes { get; set; } = "";

    public string? Facilities { get; set; }

    public SubscriptionRow ToRow() =>
        new(
            Id,
            Status,
            Topic,
            Filters,
            Request,
            Error,
            Events,
            Delivered,
            At(StartedAt),
            At(FailingSince),
            Attempts,
            LastFailure,
            At(LastSentAt),
            Heartbeat is { } silence ? Duration.FromNanoseconds(silence) : null,
            At(EndsAt),
            Version
        )
        {
            Owner = new(Client, Scopes, Facilities is null ? null : JsonSerializer.Deserialize<string[]>(Facilities)),
        };

    private static Instant? At(long? stored) => stored is { } at ? UnixNanoseconds.ToInstant(at) : null;
}
