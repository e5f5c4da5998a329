#!/usr/bin/env dotnet
#:sdk Microsoft.NET.Sdk.Web
#:property PublishAot=false
#:property RestorePackagesWithLockFile=false

// An example subscriber: asks to be told of flags, and reads what it is told in order, each event once, whatever gets lost or comes twice.
//
//     dotnet run fhir-examples/subscriber/subscriber.cs -- http://localhost:5000/fhir
//
// Further arguments: the address it listens at, and the file it remembers in, by default memory.json beside this. The service has to
// allow endpoints on the same machine (--Subscriptions:AllowLoopback=true). What it remembers is the number of the last event it has
// dealt with. A notification that begins beyond the next number shows that something was missed, and $events is asked for it; one that
// goes over old numbers is acknowledged and passed over.

using System.Globalization;
using System.Net;
using System.Text;
using System.Text.Json.Nodes;

var fhir = args.FirstOrDefault() ?? "http://localhost:5000/fhir";
var address = args.ElementAtOrDefault(1) ?? "http://127.0.0.1:5005";
var memory = args.ElementAtOrDefault(2) ?? Path.Combine(AppContext.GetData("EntryPointFileDirectoryPath") as string ?? ".", "memory.json");

var known = File.Exists(memory) ? JsonNode.Parse(File.ReadAllText(memory))! : new JsonObject { ["subscription"] = null, ["last"] = 0 };
var oneAtATime = new SemaphoreSlim(1, 1);
using var http = new HttpClient();

var builder = WebApplication.CreateBuilder();
builder.Logging.SetMinimumLevel(LogLevel.Warning);
builder.WebHost.UseUrls(address);
var app = builder.Build();
app.MapPost(
    "/flags",
    async (HttpRequest request) =>
    {
        var notification = (await JsonNode.ParseAsync(request.Body))!;
        await oneAtATime.WaitAsync();
        try
        {
            await Take(notification);
        }
        finally
        {
            oneAtATime.Release();
        }

        return Results.Ok(); // only now: what is not acknowledged comes again
    }
);
await app.StartAsync();

if ((string?)known["subscription"] is null)
    await Subscribe();
else
    await Resume();
await app.WaitForShutdownAsync();

async Task Subscribe()
{
    var topic = await Topic("flag-raised");
    var subscription = JsonNode.Parse(
        $$"""
        {
          "resourceType": "Subscription",
          "meta": { "profile": ["http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-subscription"] },
          "status": "requested",
          "reason": "Show raised flags to the ward",
          "criteria": "{{topic}}",
          "channel": {
            "extension": [
              {
                "url": "http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-heartbeat-period",
                "valueUnsignedInt": 60
              }
            ],
            "type": "rest-hook",
            "endpoint": "{{address}}/flags",
            "payload": "application/fhir+json",
            "_payload": {
              "extension": [
                {
                  "url": "http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-payload-content",
                  "valueCode": "full-resource"
                }
              ]
            }
          }
        }
        """
    )!;
    using var content = new StringContent(subscription.ToJsonString(), Encoding.UTF8, "application/fhir+json");
    using var reply = await http.PostAsync($"{fhir}/Subscription", content);
    var text = await reply.Content.ReadAsStringAsync();
    if (!reply.IsSuccessStatusCode)
        throw new InvalidOperationException($"not subscribed: {text}");
    Remember((string)JsonNode.Parse(text)!["id"]!, 0);
}

// The canonical URL of a topic, as the service lists it: a site has a base of its own.
async Task<string> Topic(string name)
{
    var metadata = JsonNode.Parse(await http.GetStringAsync($"{fhir}/metadata"))!;
    var subscription = metadata["rest"]![0]!["resource"]!.AsArray().Single(resource => (string)resource!["type"]! == "Subscription")!;
    var topics = subscription["extension"]!.AsArray().Select(extension => (string?)extension!["valueCanonical"] ?? "");
    return topics.Single(url => url.EndsWith($"/SubscriptionTopic/{name}", StringComparison.Ordinal));
}

// Back again: what came meanwhile is asked for, and a subscription that was given up, or knows another address, is asked for anew.
async Task Resume()
{
    await oneAtATime.WaitAsync();
    try
    {
        await Recover(until: null);
    }
    finally
    {
        oneAtATime.Release();
    }

    var subscription = JsonNode.Parse(await http.GetStringAsync($"{fhir}/Subscription/{known["subscription"]}"))!;
    if ((string)subscription["status"]! is "active" or "requested" && (string)subscription["channel"]!["endpoint"]! == $"{address}/flags")
        return;
    subscription["status"] = "requested";
    subscription["channel"]!["endpoint"] = $"{address}/flags";
    using var content = new StringContent(subscription.ToJsonString(), Encoding.UTF8, "application/fhir+json");
    (await http.PutAsync($"{fhir}/Subscription/{known["subscription"]}", content)).EnsureSuccessStatusCode();
}

// A notification: how the subscription stands, its events, and the resources they are about.
async Task Take(JsonNode notification)
{
    var status = notification["entry"]![0]!["resource"]!["parameter"]!.AsArray().Select(p => p!).ToLookup(p => (string)p["name"]!);
    var kind = (string)status["type"].Single()["valueCode"]!;
    if (kind == "handshake")
    {
        Console.WriteLine("subscribed");
        return;
    }

    var events = Events(notification);
    var soFar = Number(status["events-since-subscription-start"].Single());
    var first = events.Count > 0 ? events[0].Number : soFar + 1; // a heartbeat: nothing new, and so nothing missing, up to here
    if (first > Last() + 1)
        await Recover(first - 1);
    foreach (var (number, resource) in events)
        Deal(number, resource);
}

// Asks for events that never came, and deals with them in their order.
async Task Recover(long? until)
{
    var range = $"eventsSinceNumber={Last() + 1}{(until is { } last ? $"&eventsUntilNumber={last}" : "")}&content=full-resource";
    using var reply = await http.GetAsync($"{fhir}/Subscription/{known["subscription"]}/$events?{range}");
    if (reply.StatusCode == HttpStatusCode.Gone)
    {
        await StartAfresh();
        return;
    }

    var events = Events(JsonNode.Parse(await reply.EnsureSuccessStatusCode().Content.ReadAsStringAsync())!);
    if (events.Count > 0)
        Console.WriteLine($"asked again for {events[0].Number} to {events[^1].Number}");
    foreach (var (number, resource) in events)
        Deal(number, resource);
}

// Away for longer than events are kept: what stands is found by a search, and the numbers go on from the oldest that is kept.
async Task StartAfresh()
{
    var standing = JsonNode.Parse(await http.GetStringAsync($"{fhir}/Flag?status=active&_summary=count"))!;
    Console.WriteLine($"away for too long; flags that stand now: {standing["total"]} (search for them)");
    var kept = JsonNode.Parse(await http.GetStringAsync($"{fhir}/Subscription/{known["subscription"]}/$events?content=full-resource"))!;
    var events = Events(kept);
    var soFar = Number(
        kept["entry"]![0]!["resource"]!["parameter"]!.AsArray().Single(p => (string)p!["name"]! == "events-since-subscription-start")!
    );
    Remember((string)known["subscription"]!, events.Count > 0 ? events[0].Number - 1 : soFar);
    foreach (var (number, resource) in events)
        Deal(number, resource);
}

void Deal(long number, JsonNode? resource)
{
    if (number <= Last())
        return; // told before
    if (number != Last() + 1)
        throw new InvalidOperationException($"event {Last() + 1} is missing");
    var (display, period) = (resource?["code"]?["coding"]?[0]?["display"], resource?["period"]);
    var until = period?["end"] is { } end ? $" until {end}" : "";
    // The sentence with the numbers; they change as the flag goes on, so they are no part of its code.
    var statement = resource?["extension"]?.AsArray().FirstOrDefault(part => ((string)part!["url"]!).EndsWith("/flag-statement"));
    Console.WriteLine($"{number}: {resource?["status"]} {display} since {period?["start"]}{until} ({statement?["valueString"]})");
    Remember((string)known["subscription"]!, number);
}

// The events of a notification in their order, each with the resource it is about: entries come in the order of the events.
static List<(long Number, JsonNode? Resource)> Events(JsonNode notification)
{
    var entries = notification["entry"]!.AsArray();
    var numbers = entries[0]!["resource"]!["parameter"]!
        .AsArray()
        .Where(p => (string)p!["name"]! == "notification-event")
        .Select(p => Number(p!["part"]!.AsArray().Single(part => (string)part!["name"]! == "event-number")!))
        .ToList();
    return [.. numbers.Select((number, i) => (number, entries.ElementAtOrDefault(i + 1)?["resource"]))];
}

static long Number(JsonNode parameter) => long.Parse((string)parameter["valueString"]!, CultureInfo.InvariantCulture);

void Remember(string subscription, long last)
{
    known["subscription"] = subscription;
    known["last"] = last;
    File.WriteAllText(memory + ".new", known.ToJsonString());
    File.Move(memory + ".new", memory, overwrite: true); // wholly or not at all
}

long Last() => (long)known["last"]!;
