using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Entries;
using IrrigationFhir.Tests.Intake;
using IrrigationFhir.Tests.Store;
using IrrigationFhir.Tests.Subscriptions;
using Microsoft.Extensions.DependencyInjection;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Rest;

/// <summary>
/// The CapabilityStatement of the whole service, claim by claim: whatever it names is done, and a claim of a kind that nobody thought
/// of here fails. <see cref="CapabilityTests"/> looks deeper into the reading side.
/// </summary>
[Collection(EveningOnTheWard.Name)]
public class WholeCapabilityTests(EveningOnTheWard evening)
{
    private readonly RunningService _ward = evening.Service;

    // A value of each type of search parameter that is understood, whether it finds something or not.
    private static readonly Dictionary<string, string> Understood = new()
    {
        ["token"] = "x",
        ["date"] = "2026",
        ["reference"] = "1",
        ["quantity"] = "1||mL",
        ["composite"] = "x$1||mL",
        ["uri"] = "https://ward.example/x",
        ["string"] = "https://ward.example/x",
    };

    [Fact]
    public async Task Every_interaction_operation_and_parameter_that_is_claimed_is_there_R_HTTP_14()
    {
        var (sender, episode) = await Sender.Of(evening);
        var created = (await sender.Post(sender.Observation("drainage-emptied", "1", "09:00", Sender.Quantity("400", "mL")))).Is(201);
        await _ward.Record(episode, Charted.BagHung("bag", "08:30", 3000), Charted.Flow("flow", "08:30", 600));
        await _ward.Record(episode, Charted.Emptied("charted", "10:00", 50));
        await _ward.Record(episode, Charted.Emptied("charted", "10:00", 60));
        await Raise(episode);

        var statement = await _ward.Read("/fhir/metadata");
        var rest = statement["rest"]!.AsArray().Single()!;
        Assert.Equal("server", (string)rest["mode"]!);
        foreach (var format in Texts(statement["format"]))
            Assert.Equal(System.Net.HttpStatusCode.OK, (await _ward.Get($"/fhir/metadata?_format={Uri.EscapeDataString(format)}")).Status);

        foreach (var interaction in Codes(rest["interaction"]))
        {
            Assert.True(interaction is "batch" or "transaction", $"{interaction} is claimed and not tested");
            var answer = (await sender.Bundle(interaction, [Read($"Observation/{created.Id}")])).Is(200);
            Assert.Equal($"{interaction}-response", (string)answer.Json["type"]!);
            Assert.Equal("200 OK", (string)answer.Json["entry"]![0]!["response"]!["status"]!);
        }

        foreach (var resource in rest["resource"]!.AsArray().Select(r => r!))
        {
            var type = (string)resource["type"]!;
            var id = type switch
            {
                "Subscription" => (await Subscribe()).Id,
                "Observation" => created.Id,
                "Flag" => $"{episode}.raised",
                "Patient" => "",
                "Basic" => "flag-raised",
                _ => await AnyOf(type, sender),
            };
            foreach (var interaction in Codes(resource["interaction"]))
                await Interact(interaction, type, id, sender, created);
            foreach (var operation in resource["operation"]?.AsArray() ?? [])
                await Operate((string)operation!["name"]!, type, id, sender, created);

            foreach (var parameter in resource["searchParam"]?.AsArray() ?? [])
                await Strict(type, (string)parameter!["name"]!, Understood[(string)parameter["type"]!]);
            foreach (var include in Texts(resource["searchInclude"]))
                await Strict(type, "_include", include);
            foreach (var include in Texts(resource["searchRevInclude"]))
                await Strict(type, "_revinclude", include);
            if (type != "Patient")
                await Claims(resource, type, id, sender, created);
            else
                Assert.Equal(["documentation", "operation", "type"], resource.AsObject().Select(p => p.Key).Order());
        }
    }

    [Fact]
    public async Task What_is_not_claimed_is_refused()
    {
        var (sender, _) = await Sender.Of(evening);
        var emptied = sender.Observation("drainage-emptied", "1", "09:00", Sender.Quantity("400", "mL"));
        var created = (await sender.Post(emptied)).Is(201);
        emptied["id"] = created.Id;

        // history-system, search-system, conditional update, conditional delete, patch.
        (await sender.Send(HttpMethod.Get, "/fhir/_history", null)).Is(404);
        (await sender.Send(HttpMethod.Get, "/fhir?_type=Observation", null)).Is(405);
        (await sender.Send(HttpMethod.Put, $"/fhir/Observation?_id={created.Id}", emptied)).Is(405);
        (await sender.Send(HttpMethod.Delete, $"/fhir/Observation?_id={created.Id}", null)).Is(405);
        (await sender.Send(HttpMethod.Patch, $"/fhir/Observation/{created.Id}", emptied)).Is(405);
        Assert.Equal("1", (string)(await _ward.Read($"/fhir/Observation/{created.Id}"))["meta"]!["versionId"]!);
    }

    private async Task Interact(string interaction, string type, string id, Sender sender, Answer created)
    {
        switch (interaction)
        {
            case "read":
                Assert.Equal(id, (string)(await _ward.Read($"/fhir/{type}/{id}"))["id"]!);
                break;
            case "vread":
                Assert.Equal("1", (string)(await _ward.Read($"/fhir/{type}/{id}/_history/1"))["meta"]!["versionId"]!);
                break;
            case "history-instance":
                Assert.Equal("history", (string)(await _ward.Read($"/fhir/{type}/{id}/_history"))["type"]!);
                break;
            case "history-type":
                Assert.Equal(
                    type,
                    (string)(await _ward.Read($"/fhir/{type}/_history?_count=1"))["entry"]![0]!["resource"]!["resourceType"]!
                );
                break;
            case "search-type":
                Assert.Equal(id, (string)(await _ward.Read($"/fhir/{type}?_id={id}"))["entry"]![0]!["resource"]!["id"]!);
                break;
            case "create" when type == "Subscription":
                Assert.Equal("requested", (string)(await Subscribe()).Json["status"]!);
                break;
            case "update" when type == "Subscription":
                var off = await _ward.Read($"/fhir/Subscription/{id}");
                off["status"] = "off";
                Assert.Equal("off", (string)(await sender.Send(HttpMethod.Put, $"/fhir/Subscription/{id}", off)).Is(200).Json["status"]!);
                break;
            case "create":
                (await sender.Post(sender.Observation("bladder-scanned", "claimed", "09:30", Sender.Quantity("20", "mL")))).Is(201);
                break;
            case "update":
                var changed = JsonNode.Parse(created.Text)!;
                changed["status"] = "corrected";
                changed["valueQuantity"]!["value"] = 410;
                Assert.Equal("W/\"2\"", (await sender.Put(created.Id, Sent(changed))).Is(200).ETag);
                break;
            default:
                Assert.Fail($"{interaction} of {type} is claimed and not tested");
                break;
        }
    }

    private async Task Operate(string operation, string type, string id, Sender sender, Answer created)
    {
        var patient = Uri.EscapeDataString($"{RunningService.PatientSystem}|{sender.Patient["identifier"]!["value"]}");
        switch (operation)
        {
            case "validate":
                (await sender.Send(HttpMethod.Post, $"/fhir/{type}/$validate", await _ward.Read($"/fhir/{type}/{id}"))).Is(200);
                Assert.Equal(
                    "OperationOutcome",
                    (string)(await sender.Send(HttpMethod.Post, $"/fhir/{type}/{id}/$validate", null)).Is(200).Json["resourceType"]!
                );
                break;
            case "status":
                Assert.Equal(
                    "query-status",
                    (string)
                        (await _ward.Read($"/fhir/{type}/{id}/$status"))["entry"]![0]!["resource"]!["parameter"]!
                            .AsArray()
                            .Single(p => (string)p!["name"]! == "type")!["valueCode"]!
                );
                Assert.Single((await _ward.Read($"/fhir/{type}/$status?id={id}"))["entry"]!.AsArray());
                break;
            case "events":
                Assert.Equal("history", (string)(await _ward.Read($"/fhir/{type}/{id}/$events"))["type"]!);
                break;
            case "lastn":
                Assert.NotEmpty((await _ward.Read($"/fhir/{type}/$lastn?patient.identifier={patient}&category=exam"))["entry"]!.AsArray());
                break;
            case "everything":
                Assert.Contains(
                    (await _ward.Read($"/fhir/{type}/$everything?identifier={patient}&_count=1000"))["entry"]!.AsArray(),
                    e => (string)e!["resource"]!["id"]! == created.Id
                );
                break;
            case "export":
                using (var asked = new HttpRequestMessage(HttpMethod.Get, new Uri($"/fhir/{type}/$export", UriKind.Relative)))
                {
                    asked.Headers.Add("Prefer", "respond-async");
                    using var begun = await _ward.Http.SendAsync(asked);
                    Assert.Equal(System.Net.HttpStatusCode.Accepted, begun.StatusCode);
                }

                break;
            default:
                Assert.Fail($"${operation} of {type} is claimed and not tested");
                break;
        }
    }

    /// <summary>What a resource claims by a word or a truth value.</summary>
    private static async Task Claims(JsonNode resource, string type, string id, Sender sender, Answer created)
    {
        foreach (var (claim, value) in resource.AsObject())
        {
            switch (claim, value)
            {
                case ("versioning", _):
                    Assert.Equal("versioned", (string)value!);
                    Assert.NotNull((await sender.Send(HttpMethod.Get, $"/fhir/{type}/{id}", null)).Is(200).ETag);
                    break;
                case ("readHistory", _):
                    Assert.True((bool)value!);
                    (await sender.Send(HttpMethod.Get, $"/fhir/{type}/{id}/_history/1", null)).Is(200);
                    break;
                case ("updateCreate", _):
                    Assert.False((bool)value!);
                    if (type == "Subscription")
                        (
                            await sender.Send(
                                HttpMethod.Put,
                                "/fhir/Subscription/mine",
                                WithId(JsonNode.Parse(FhirJson.Write(SampleSubscriptions.Here()))!.AsObject(), "mine")
                            )
                        ).Is(404);
                    if (type == "Observation")
                        (
                            await sender.Put(
                                "mine",
                                WithId(sender.Observation("drainage-emptied", "mine", "09:00", Sender.Quantity("1", "mL")), "mine")
                            )
                        ).Is(404);
                    break;
                case ("conditionalRead", _):
                    Assert.Equal("full-support", (string)value!);
                    var read = (await sender.Send(HttpMethod.Get, $"/fhir/{type}/{id}", null)).Is(200);
                    (await sender.Send(HttpMethod.Get, $"/fhir/{type}/{id}", null, ("If-None-Match", read.ETag!))).Is(304);
                    (
                        await sender.Send(
                            HttpMethod.Get,
                            $"/fhir/{type}/{id}",
                            null,
                            ("If-Modified-Since", read.LastModified!.Value.ToString("R", null))
                        )
                    ).Is(304);
                    break;
                case ("conditionalCreate", _):
                    Assert.True((bool)value!);
                    Assert.Equal(
                        created.Id,
                        (
                            await sender.Post(
                                sender.Observation("drainage-emptied", "again", "09:40", Sender.Quantity("1", "mL")),
                                ("If-None-Exist", $"_id={created.Id}")
                            )
                        )
                            .Is(200)
                            .Id
                    );
                    break;
                case ("supportedProfile", _) when type == "Subscription":
                    Assert.Equal(
                        Texts(value),
                        Texts((await sender.Send(HttpMethod.Get, $"/fhir/{type}/{id}", null)).Is(200).Json["meta"]!["profile"])
                    );
                    break;
                case ("extension", _):
                    // Every topic that is claimed can be subscribed to.
                    Assert.Equal(Topics.All.Length, value!.AsArray().Count);
                    foreach (var topic in value.AsArray().Select(e => (string)e!["valueCanonical"]!))
                        (
                            await sender.Send(
                                HttpMethod.Post,
                                "/fhir/Subscription",
                                JsonNode.Parse(FhirJson.Write(SampleSubscriptions.Here(Topics.Find(topic, Ours.Profiles))))
                            )
                        ).Is(201);
                    break;
                case ("supportedProfile", _):
                    // Known to the validator: what claims one of them is judged by it.
                    foreach (var profile in Texts(value))
                        Assert.DoesNotContain(
                            "unknown-profile",
                            (
                                await sender.Send(
                                    HttpMethod.Post,
                                    $"/fhir/{type}/{id}/$validate?profile={Uri.EscapeDataString(profile)}",
                                    null
                                )
                            )
                                .Is(200)
                                .Codes
                        );
                    break;
                case (
                    "type"
                        or "documentation"
                        or "interaction"
                        or "operation"
                        or "searchParam"
                        or "searchInclude"
                        or "searchRevInclude"
                        or "profile",
                    _
                ):
                    break;
                default:
                    Assert.Fail($"{claim} of {type} is claimed and not tested");
                    break;
            }
        }
    }

    private async Task Strict(string type, string name, string value)
    {
        using var request = new HttpRequestMessage(
            HttpMethod.Get,
            new Uri($"/fhir/{type}?{name}={Uri.EscapeDataString(value)}&_count=1", UriKind.Relative)
        );
        request.Headers.Add("Prefer", "handling=strict");
        using var reply = await _ward.Http.SendAsync(request);
        var text = await reply.Content.ReadAsStringAsync();
        Assert.True(reply.IsSuccessStatusCode, $"{type}?{name}={value}: {text}");
        Assert.Contains($"{name}=", (string)JsonNode.Parse(text)!["link"]![0]!["url"]!, StringComparison.Ordinal);
    }

    /// <summary>A Flag beside what the service publishes.</summary>
    private async Task Raise(string episode)
    {
        var store = _ward.Services.GetRequiredService<EpisodeStore>();
        var row = (await store.Find(episode, default))!;
        var flag = new Flag
        {
            Id = $"{episode}.raised",
            Status = Flag.FlagStatus.Active,
            Code = Ours.Codes.Flag("outflow-deficit", "an invented flag"),
            Subject = new() { Identifier = new(row.Patient!.Value.System, row.Patient.Value.Value) },
            Period = new() { Start = "2026-03-14T09:00:00Z" },
        };
        Assert.IsType<SaveOutcome.Saved>(await store.Save(StoreOnDisk.Change(row, [], flag), default));
    }

    private async Task<string> AnyOf(string type, Sender sender)
    {
        var patient = Uri.EscapeDataString($"{RunningService.PatientSystem}|{sender.Patient["identifier"]!["value"]}");
        return (string)(await _ward.Read($"/fhir/{type}?patient.identifier={patient}&_count=1"))["entry"]![0]!["resource"]!["id"]!;
    }

    private async Task<Answer> Subscribe()
    {
        var asked = JsonNode.Parse(FhirJson.Write(SampleSubscriptions.Here()))!;
        return (await new Sender(_ward, "").Send(HttpMethod.Post, "/fhir/Subscription", asked)).Is(201);
    }

    private static JsonObject Read(string url) =>
        new()
        {
            ["request"] = new JsonObject { ["method"] = "GET", ["url"] = url },
        };

    private static JsonNode Sent(JsonNode stored)
    {
        stored.AsObject().Remove("meta");
        return stored;
    }

    private static JsonObject WithId(JsonObject observation, string id)
    {
        observation["id"] = id;
        return observation;
    }

    private static IEnumerable<string> Codes(JsonNode? list) => (list?.AsArray() ?? []).Select(item => (string)item!["code"]!);

    private static IEnumerable<string> Texts(JsonNode? list) => (list?.AsArray() ?? []).Select(item => (string)item!);
}
