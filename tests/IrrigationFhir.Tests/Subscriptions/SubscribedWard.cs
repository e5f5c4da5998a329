using System.Diagnostics;
using System.Net;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Subscriptions;

/// <summary>A ward whose flags subscribers are told of: short ways to subscribe, to raise and to wait.</summary>
internal static class SubscribedWard
{
    public const string Backport = "http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/";
    public const string Now = "2026-03-14T22:00:00Z";

    /// <summary>The service with endpoints on this machine allowed; impatient where it may be.</summary>
    public static RunningService Ward(string? folder = null, params (string Key, string Value)[] settings) =>
        RunningService.Start(Now, folder, [("Subscriptions:AllowLoopback", "true"), ("Subscriptions:Timeout", "00:02:00"), .. settings]);

    /// <summary>A Subscription as a client sends it.</summary>
    public static JsonObject Subscription(
        string endpoint,
        string topic = "flag-raised",
        string content = "full-resource",
        string? filter = null,
        int? heartbeat = null,
        int? maxCount = null,
        int? timeout = null,
        string? end = null,
        string? header = null
    )
    {
        var channel = new JsonObject
        {
            ["type"] = "rest-hook",
            ["endpoint"] = endpoint,
            ["payload"] = "application/fhir+json",
            ["_payload"] = new JsonObject
            {
                ["extension"] = new JsonArray(new JsonObject { ["url"] = Backport + "backport-payload-content", ["valueCode"] = content }),
            },
        };
        var extensions = new JsonArray();
        if (heartbeat is { } seconds)
            extensions.Add(new JsonObject { ["url"] = Backport + "backport-heartbeat-period", ["valueUnsignedInt"] = seconds });
        if (timeout is { } patience)
            extensions.Add(new JsonObject { ["url"] = Backport + "backport-timeout", ["valueUnsignedInt"] = patience });
        if (maxCount is { } most)
            extensions.Add(new JsonObject { ["url"] = Backport + "backport-max-count", ["valuePositiveInt"] = most });
        if (extensions.Count > 0)
            channel["extension"] = extensions;
        if (header is not null)
            channel["header"] = new JsonArray(header);
        var subscription = new JsonObject
        {
            ["resourceType"] = "Subscription",
            ["meta"] = new JsonObject { ["profile"] = new JsonArray(Backport + "backport-subscription") },
            ["status"] = "requested",
            ["reason"] = "The ward's screen",
            ["criteria"] = $"https://irrigationfhir.example/fhir/SubscriptionTopic/{topic}",
            ["channel"] = channel,
        };
        if (filter is not null)
            subscription["_criteria"] = new JsonObject
            {
                ["extension"] = new JsonArray(new JsonObject { ["url"] = Backport + "backport-filter-criteria", ["valueString"] = filter }),
            };
        if (end is not null)
            subscription["end"] = end;
        return subscription;
    }

    /// <summary>Subscribes; answers the id.</summary>
    public static async Task<string> Subscribe(this RunningService ward, JsonObject subscription)
    {
        var reply = await ward.Post("/fhir/Subscription", subscription);
        Assert.True(reply.Status == HttpStatusCode.Created, reply.Text);
        return (string)reply.Json["id"]!;
    }

    /// <summary>Subscribes, and waits until the handshake has gone through.</summary>
    public static async Task<string> Active(this RunningService ward, JsonObject subscription)
    {
        var id = await ward.Subscribe(subscription);
        await ward.Until(async () => await ward.Status(id) == "active");
        return id;
    }

    /// <summary>The status of a subscription.</summary>
    public static async Task<string> Status(this RunningService ward, string id) =>
        (string)(await ward.Read($"/fhir/Subscription/{id}"))["status"]!;

    /// <summary>Changes a subscription as its client would.</summary>
    public static async Task Change(this RunningService ward, string id, Action<JsonNode> change)
    {
        var subscription = await ward.Read($"/fhir/Subscription/{id}");
        change(subscription);
        using var response = await ward.Put(id, subscription);
        Assert.True(response.IsSuccessStatusCode, await response.Content.ReadAsStringAsync());
    }

    /// <summary>Puts a whole subscription, whatever comes back.</summary>
    public static async Task<HttpResponseMessage> Put(this RunningService ward, string id, JsonNode subscription)
    {
        using var content = new StringContent(subscription.ToJsonString(), System.Text.Encoding.UTF8, "application/fhir+json");
        return await ward.Http.PutAsync(new Uri($"/fhir/Subscription/{id}", UriKind.Relative), content);
    }

    /// <summary>A new episode.</summary>
    public static Task<string> Bed(this RunningService ward, string name) =>
        ward.Open(RunningService.Episode(name, "2026-03-14T08:00:00Z"));

    /// <summary>Somebody saw clots: raises <c>clots-present</c>, and is withdrawn by the same with status entered-in-error.</summary>
    public static JsonObject Clots(string id, string clock = "21:30", bool withdrawn = false, DateTimeOffset? at = null) =>
        JsonNode
            .Parse(
                $$"""
                {"source": "ward", "id": "{{id}}", "kind": "drainage-appearance", "at": "{{at?.ToString(
                    "yyyy-MM-dd'T'HH:mm:ssK",
                    System.Globalization.CultureInfo.InvariantCulture
                ) ?? $"2026-03-14T{clock}:00Z"}}", "performer": "N-31 (invented)"{{(
                    withdrawn
                        ? ", \"status\": \"entered-in-error\", \"reason\": \"another bed\""
                        : ", \"scale\": \"ward colour card (invented)\", \"grade\": 2, \"clots\": \"many\""
                )}}}
                """
            )!
            .AsObject();

    /// <summary>Somebody looked and saw none: clears it.</summary>
    public static JsonObject NoClots(string id, string clock) =>
        JsonNode
            .Parse(
                $$"""
                {"source": "ward", "id": "{{id}}", "kind": "drainage-appearance", "at": "2026-03-14T{{clock}}:00Z",
                "performer": "N-31 (invented)", "scale": "ward colour card (invented)", "grade": 2, "clots": "none"}
                """
            )!
            .AsObject();

    /// <summary>Waits until something holds; with a step the ward's clock goes on by that much each time.</summary>
    public static async Task Until(this RunningService ward, Func<Task<bool>> holds, TimeSpan? step = null)
    {
        var since = Stopwatch.StartNew();
        while (!await holds())
        {
            Assert.True(since.Elapsed < TimeSpan.FromSeconds(60), "it never came to be so");
            if (step is { } by)
                ward.Clock.Advance(by);
            await Task.Delay(20);
        }
    }

    /// <summary>The same.</summary>
    public static Task Until(this RunningService ward, Func<bool> holds, TimeSpan? step = null) =>
        ward.Until(() => Task.FromResult(holds()), step);
}
