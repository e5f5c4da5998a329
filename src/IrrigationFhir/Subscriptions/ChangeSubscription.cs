using System.Text.Json;
using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;
using Irrigation.Episodes;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using NodaTime.Extensions;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Subscriptions;

/// <summary>Creates and updates subscriptions.</summary>
internal sealed class ChangeSubscription(
    SubscriptionStore store,
    ResourceStore resources,
    IEndpointRules endpoints,
    SubscriptionSettings settings,
    DeliverNotifications delivery,
    TimeProvider clock,
    Vocabulary vocabulary
)
{
    // Who changes the same subscription meanwhile is a person or the delivery; three meetings in a row are no accident.
    private const int Tries = 3;

    /// <summary>Takes a new one: status requested until its endpoint has answered a handshake.</summary>
    public async Task<Written> Create(JsonElement json, Caller caller, CancellationToken stop)
    {
        var (sent, problems) = Read(json);
        if (sent is null)
            return Written.Refused.Of(StatusCodes.Status400BadRequest, problems);
        List<EntryProblem> faults =
            sent.Status is Subscription.SubscriptionStatus.Requested
                ? []
                :
                [
                    SubscriptionProblem.Status(
                        "Subscription.status",
                        $"status {sent.Status?.GetLiteral() ?? "missing"}",
                        "requested: it becomes active once its endpoint has answered"
                    ),
                ];
        var (request, refused) = SubscriptionReader.Read(sent, endpoints, Now, [], vocabulary.Profiles);
        if (faults.Count > 0 || request is null)
            return Written.Refused.Of(StatusCodes.Status422UnprocessableEntity, [.. faults, .. refused]);

        if (!request.MayBeToldTo(caller))
            return MayNot();
        var id = Guid.NewGuid().ToString();
        var outcome = await store.Create(
            StoredRequest.Row(id, "requested", null, request, LastingAccess.Of(caller)),
            ShownSubscription.Of(sent, id, "requested", null, request.Headers),
            settings.Most,
            stop
        );
        return outcome switch
        {
            SubscriptionOutcome.Saved saved => new Written.Stands(
                StatusCodes.Status201Created,
                saved.Version,
                "requested; a handshake is sent to the endpoint"
            ),
            SubscriptionOutcome.TooMany many => TooMany(many),
            _ => throw new InvalidOperationException("a new subscription that is there already"),
        };
    }

    /// <summary>Takes a changed one.</summary>
    /// <param name="id">The id in the address.</param>
    /// <param name="json">The whole resource.</param>
    /// <param name="ifMatch">The version that is changed, as <c>W/"3"</c>; null for whichever is current.</param>
    /// <param name="caller">Whose it has to be.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<Written> Update(string id, JsonElement json, string? ifMatch, Caller caller, CancellationToken stop)
    {
        for (var tries = 1; ; tries++)
        {
            var (sent, problems) = Read(json);
            if (sent is null)
                return Written.Refused.Of(StatusCodes.Status400BadRequest, problems);
            if (sent.Id != id)
                return Written.Refused.Of(
                    StatusCodes.Status400BadRequest,
                    new EntryProblem(
                        "wrong-id",
                        "Subscription.id",
                        sent.Id is null ? "no id" : "another id than the address has",
                        "the id of the address"
                    )
                );
            if (await store.Find(id, stop) is not { } row || !row.Owner.IsOf(caller))
                return Written.Refused.Of(
                    StatusCodes.Status404NotFound,
                    new EntryProblem(
                        "unknown-resource",
                        "Subscription.id",
                        "an id that is not there",
                        "the id of a Subscription that came by create: POST makes new ones"
                    )
                );
            if (ifMatch is not null && !EntityTags.LetReplace(ifMatch, row.Version))
                return Conflict(row.Version);

            var stored = StoredRequest.State(row);
            var (status, fault) = StatusOf(sent, stored);

            // Stored secrets go nowhere else than where they were meant for: with another endpoint they have to be said again.
            IReadOnlyList<string> known = sent.Channel?.Endpoint == stored.Request.Endpoint.OriginalString ? stored.Request.Headers : [];
            var (request, refused) = SubscriptionReader.Read(
                sent,
                endpoints,
                Now,
                known,
                vocabulary.Profiles,
                mayHaveEnded: status == "off"
            );

            // Whatever the rules have become, it can be ended: as it stands, and with nothing else changed.
            if (request is null && status == "off" && await resources.Read("Subscription", id, stop) is { } current)
                (sent, request) = (FhirJson.Read<Subscription>(current.Json), stored.Request);
            if (request is not null && request.Topic.Slug != stored.Request.Topic.Slug)
                return Written.Refused.Of(
                    StatusCodes.Status422UnprocessableEntity,
                    SubscriptionProblem.AnotherTopic("Subscription.criteria")
                );
            if (fault is not null || request is null || status is null)
                return Written.Refused.Of(StatusCodes.Status422UnprocessableEntity, fault is null ? refused : [fault, .. refused]);

            if (status != "off" && !request.MayBeToldTo(caller))
                return MayNot();

            // Another endpoint has not answered a handshake yet.
            if (status == "active" && request.Endpoint != stored.Request.Endpoint)
                status = "requested";
            var error = status == "error" ? stored.Error : null;
            var outcome = await store.Update(
                StoredRequest.Row(id, status, error, request, caller.IsLocal ? row.Owner : LastingAccess.Of(caller)),
                ShownSubscription.Of(sent, id, status, error, request.Headers),
                row,
                settings.Most,
                stop
            );
            switch (outcome)
            {
                case SubscriptionOutcome.Saved saved:
                    delivery.RetryNow(id);
                    return new Written.Stands(StatusCodes.Status200OK, saved.Version, $"status {status}");
                case SubscriptionOutcome.TooMany many:
                    return TooMany(many);
                case SubscriptionOutcome.Conflict met when ifMatch is not null || tries == Tries:
                    return Conflict(met.Actual);
            }
        }
    }

    private Instant Now => clock.GetCurrentInstant();

    private static (string? Status, EntryProblem? Problem) StatusOf(Subscription sent, SubscriptionState stored)
    {
        var wanted = sent.Status?.GetLiteral();
        return wanted is "requested" or "off" || wanted == stored.Status
            ? (wanted, null)
            : (
                null,
                SubscriptionProblem.Status(
                    "Subscription.status",
                    $"status {wanted ?? "missing"}",
                    $"requested to (re)start it, off to end it, or {stored.Status} as it stands: active and error are the service's to say"
                )
            );
    }

    private static Written.Refused MayNot() =>
        Written.Refused.Of(
            StatusCodes.Status403Forbidden,
            new EntryProblem(
                "not-allowed",
                "Subscription.criteria",
                "an access token that does not cover what the topic tells of",
                "a token that may search that type, and read it where whole resources are told; filters that say what the queries of its "
                    + "scopes say"
            )
        );

    private static Written.Refused TooMany(SubscriptionOutcome.TooMany many) =>
        Written.Refused.Of(
            StatusCodes.Status422UnprocessableEntity,
            new EntryProblem(
                "too-many-subscriptions",
                "Subscription",
                $"{many.Most} subscriptions that are not off",
                "fewer: set status off on one that nobody needs"
            )
        );

    private static Written.Refused Conflict(long actual) =>
        Written.Refused.Of(
            StatusCodes.Status412PreconditionFailed,
            new EntryProblem(
                "version-conflict",
                "If-Match",
                "another version than the current one",
                $"{EntityTags.Of(actual)}, after reading what has changed"
            )
        );

    private static (Subscription? Sent, IReadOnlyList<EntryProblem> Problems) Read(JsonElement json)
    {
        var (sent, problems) = ResourceJson.Read<Subscription>(json);
        // A channel that R4 has no code for is refused as any other that is not served.
        return (
            sent,
            [
                .. problems.Select(problem =>
                    problem.Where.StartsWith("Subscription.channel.type", StringComparison.Ordinal)
                        ? SubscriptionProblem.Channel("Subscription.channel.type", "a code that is no channel of R4")
                        : problem
                ),
            ]
        );
    }
}
