using System.Globalization;
using Hl7.Fhir.Model;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Http.Extensions;
using NodaTime.Extensions;

namespace IrrigationFhir.Subscriptions;

/// <summary>How subscriptions stand and what they were told of: <c>$status</c> and <c>$events</c>.</summary>
internal sealed class SubscriptionQueries(
    SubscriptionStore store,
    SubscriptionEventStore events,
    ToldEvents told,
    SubscriptionSettings kept,
    TimeProvider clock,
    Notifications notifications
)
{
    /// <summary>What the CapabilityStatement says of <c>$status</c>.</summary>
    public const string StatusPolicy =
        "Of one Subscription, or of all; there id and status choose, repeated or with commas. "
        + "The answer is a searchset of Parameters (backport-subscription-status-r4). "
        + "With content empty neither the topic nor a resource is named.";

    /// <summary>What the CapabilityStatement says of <c>$events</c>.</summary>
    public const string EventsPolicy =
        "eventsSinceNumber and eventsUntilNumber include their ends; without them, "
        + "from the oldest event that is kept to the latest. content asks for another content than was subscribed. "
        + "At most 1000 events come at once: ask on behind the last event-number. "
        + "Events are kept for 7 days unless the site settles it otherwise, "
        + "those not delivered to an active subscription longer; asked for an event before the oldest that is kept, "
        + "the answer is 410, and what was missed is found by a search.";

    // As the policy says.
    private const int EventsAtOnce = 1000;

    private static readonly string[] Statuses = ["requested", "active", "error", "off"];

    /// <summary><c>$status</c> of the subscription of an id, or of those that the parameters choose.</summary>
    public async Task<IFhirAnswer> Status(FhirQuestion asked, string? id)
    {
        var (parameters, refused) = Parameters(asked, ["id", "status"]);
        if (parameters is null)
            return refused!;
        IReadOnlyList<SubscriptionRow> rows;
        if (id is not null)
        {
            if (await store.Find(id, asked.Stop) is not { } row || !row.Owner.IsOf(asked.Caller))
                return NotThere(id);
            rows = [row];
        }
        else
        {
            var (ids, statuses) = (Values(parameters, "id"), Values(parameters, "status"));
            if (statuses.FirstOrDefault(status => !Statuses.Contains(status)) is { } unknown)
                return Invalid("status", SubscriptionProblem.Clip(unknown), $"one of {string.Join(", ", Statuses)}");
            rows =
            [
                .. (await store.FindByStatus(statuses.Count == 0 ? Statuses : statuses, asked.Stop)).Where(row =>
                    row.Owner.IsOf(asked.Caller) && (ids.Count == 0 || ids.Contains(row.Id))
                ),
            ];
        }

        var at = asked.Base;
        var self = id is null ? $"{at}/Subscription/$status{new QueryBuilder(parameters)}" : $"{at}/Subscription/{id}/$status";
        return Answer(notifications.Statuses(at, rows.Select(StoredRequest.State), clock.GetCurrentInstant(), self));
    }

    /// <summary><c>$events</c>.</summary>
    public async Task<IFhirAnswer> Events(FhirQuestion asked)
    {
        var (id, stop) = (asked.Id, asked.Stop);
        var (parameters, refused) = Parameters(asked, ["eventsSinceNumber", "eventsUntilNumber", "content"]);
        if (parameters is null)
            return refused!;
        foreach (var name in parameters.GroupBy(pair => pair.Key).Where(named => named.Count() > 1).Select(named => named.Key))
            return Invalid(name, "more than one value", "one value");
        if (Number(parameters, "eventsSinceNumber", out var since) is { } first)
            return first;
        if (Number(parameters, "eventsUntilNumber", out var until) is { } second)
            return second;
        PayloadContent? content = null;
        if (Value(parameters, "content") is { } wanted && (content = Irrigation.Slug.Read<PayloadContent>(wanted)) is null)
            return Invalid(
                "content",
                SubscriptionProblem.Clip(wanted),
                $"one of {string.Join(", ", Irrigation.Slug.All<PayloadContent>())}"
            );

        if (await store.Find(id, stop) is not { } row || !row.Owner.IsOf(asked.Caller))
            return NotThere(id);
        // As much as may be told now: what it was subscribed with may be more.
        var state = StoredRequest.State(row);
        if (!state.MayBeToldTo(asked.Caller, content))
            return FhirReads.Forbidden;
        var oldest = await events.FindOldest(id, stop) ?? row.Events + 1;
        if (since is { } from && Math.Max(from, 1) < oldest)
        {
            return new OutcomeResult(
                StatusCodes.Status410Gone,
                Outcome.Problem(
                    "events-forgotten",
                    string.Create(CultureInfo.InvariantCulture, $"an event before number {oldest}, the oldest that is kept"),
                    string.Create(
                        CultureInfo.InvariantCulture,
                        $"{oldest} or more: events are kept for {kept.Keep.TotalDays:0.##} days; "
                            + $"what happened before is found by a search with _lastUpdated"
                    ),
                    "eventsSinceNumber"
                )
            );
        }

        var found = await told.Of(
            await events.Read(id, since ?? oldest, Math.Min(until ?? row.Events, row.Events), EventsAtOnce, stop),
            asked.Caller,
            content ?? state.Request.Content,
            stop
        );
        return Answer(
            notifications.Of(
                NotificationKind.QueryEvent,
                asked.Base,
                state,
                [.. found.Select(NotificationEvent.Of)],
                clock.GetCurrentInstant(),
                content
            ),
            (content ?? state.Request.Content) == PayloadContent.Empty
                ? []
                : [.. found.Select(one => new ShownVersion(one.Type, one.Id, one.VersionId))]
        );
    }

    private static (IReadOnlyList<KeyValuePair<string, string>>? Known, OutcomeResult? Refused) Parameters(
        FhirQuestion asked,
        string[] known
    )
    {
        var named = asked.Parameters.Where(pair => pair.Key is not ("_format" or "_pretty") && pair.Value.Length > 0).ToList();
        return named.FirstOrDefault(pair => !known.Contains(pair.Key)) is { Key: { } unknown }
            ? (null, Invalid(SubscriptionProblem.Clip(unknown), "a parameter that is not understood", $"one of {string.Join(", ", known)}"))
            : (named, null);
    }

    private static IReadOnlyList<string> Values(IReadOnlyList<KeyValuePair<string, string>> parameters, string name) =>
        [
            .. parameters
                .Where(pair => pair.Key == name)
                .SelectMany(pair => pair.Value.Split(',', StringSplitOptions.TrimEntries | StringSplitOptions.RemoveEmptyEntries)),
        ];

    private static string? Value(IReadOnlyList<KeyValuePair<string, string>> parameters, string name) =>
        parameters.Where(pair => pair.Key == name).Select(pair => pair.Value).FirstOrDefault();

    private static OutcomeResult? Number(IReadOnlyList<KeyValuePair<string, string>> parameters, string name, out long? number)
    {
        number = null;
        if (Value(parameters, name) is not { } text)
            return null;
        if (!long.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out var read))
            return Invalid(name, SubscriptionProblem.Clip(text), "the number of an event, a whole number");
        number = read;
        return null;
    }

    private static OutcomeResult Invalid(string name, string saw, string expected) =>
        new(StatusCodes.Status400BadRequest, Outcome.Problem("operation-parameter-invalid", saw, expected, name));

    private static OutcomeResult NotThere(string id) =>
        new(
            StatusCodes.Status404NotFound,
            Outcome.Problem("unknown-resource", $"Subscription/{SubscriptionProblem.Clip(id)}", "the id of a Subscription", null)
        );

    private static BundleResult Answer(Bundle bundle, IReadOnlyList<ShownVersion>? shown = null) =>
        new(FhirJson.WriteUtf8(bundle)) { Shown = shown ?? [] };
}
