using System.IO.Compression;
using System.Net;
using System.Net.Http.Headers;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Tests.Intake;

/// <summary>A gateway of invented devices that speaks FHIR; clock times are UTC on 2026-03-14.</summary>
internal sealed class Sender(RunningService ward, string patient)
{
    private static Profiles Profiles => Ours.Profiles;

    public const string System = "https://gateway.example/readings";
    public const string Ucum = Codes.Systems.Ucum;

    /// <summary>A sender about a new patient with an open episode from 08:00.</summary>
    public static async Task<(Sender Sender, string Episode)> Of(EveningOnTheWard evening)
    {
        var identifier = evening.NewIdentifier();
        var episode = await evening.Service.Open(RunningService.Episode(identifier, "2026-03-14T08:00:00Z"));
        return (new(evening.Service, $"patient of {identifier}"), episode);
    }

    public JsonObject Patient =>
        new()
        {
            ["identifier"] = new JsonObject { ["system"] = RunningService.PatientSystem, ["value"] = patient },
        };

    public static JsonObject Quantity(string number, string unit) =>
        new()
        {
            ["value"] = JsonNode.Parse(number),
            ["unit"] = unit,
            ["system"] = Ucum,
            ["code"] = unit,
        };

    /// <summary>An Observation of a kind of entry, by our own code for it.</summary>
    public JsonObject Observation(string kind, string id, string clock, JsonNode? quantity = null, string status = "final") =>
        Coded(Profiles.CodeSystem("entry-kind"), kind, id, clock, quantity, status);

    public JsonObject Coded(string system, string code, string id, string clock, JsonNode? quantity = null, string status = "final")
    {
        var observation = new JsonObject
        {
            ["resourceType"] = "Observation",
            ["identifier"] = new JsonArray(new JsonObject { ["system"] = System, ["value"] = $"{patient}-{id}" }),
            ["status"] = status,
            ["code"] = new JsonObject { ["coding"] = new JsonArray(new JsonObject { ["system"] = system, ["code"] = code }) },
            ["subject"] = Patient,
            ["effectiveDateTime"] = clock.Length == 5 ? $"2026-03-14T{clock}:00Z" : clock,
        };
        if (quantity is not null)
            observation["valueQuantity"] = quantity;
        return observation;
    }

    public static JsonObject Component(string slug, string type, JsonNode value) =>
        new()
        {
            ["code"] = new JsonObject
            {
                ["coding"] = new JsonArray(new JsonObject { ["system"] = Profiles.CodeSystem("irrigation-observation"), ["code"] = slug }),
            },
            [type] = value,
        };

    public Task<Answer> Post(JsonNode observation, params (string Name, string Value)[] headers) =>
        Send(HttpMethod.Post, "/fhir/Observation", observation, headers);

    public Task<Answer> Put(string id, JsonNode observation, params (string Name, string Value)[] headers) =>
        Send(HttpMethod.Put, $"/fhir/Observation/{id}", observation, headers);

    public Task<Answer> Bundle(string type, IEnumerable<JsonNode> entries, params (string Name, string Value)[] headers) =>
        Send(
            HttpMethod.Post,
            "/fhir",
            new JsonObject
            {
                ["resourceType"] = "Bundle",
                ["type"] = type,
                ["entry"] = new JsonArray([.. entries]),
            },
            headers
        );

    public static JsonObject Entry(JsonNode observation, string? fullUrl = null, string method = "POST", string url = "Observation")
    {
        var entry = new JsonObject
        {
            ["resource"] = observation,
            ["request"] = new JsonObject { ["method"] = method, ["url"] = url },
        };
        if (fullUrl is not null)
            entry["fullUrl"] = fullUrl;
        return entry;
    }

    public async Task<Answer> Send(HttpMethod method, string address, JsonNode? body, params (string Name, string Value)[] headers) =>
        await Send(method, address, body is null ? null : Encoding.UTF8.GetBytes(body.ToJsonString()), null, headers);

    public async Task<Answer> Send(
        HttpMethod method,
        string address,
        byte[]? body,
        string? encoding,
        params (string Name, string Value)[] headers
    )
    {
        using var request = new HttpRequestMessage(method, new Uri(address, UriKind.Relative));
        if (body is not null)
        {
            request.Content = new ByteArrayContent(body);
            request.Content.Headers.ContentType = MediaTypeHeaderValue.Parse("application/fhir+json");
            if (encoding is not null)
                request.Content.Headers.ContentEncoding.Add(encoding);
        }

        foreach (var (name, value) in headers)
            request.Headers.TryAddWithoutValidation(name, value);
        using var response = await ward.Http.SendAsync(request);
        var answer = await Answer.Of(response);

        // R-HTTP-01, for whatever is sent here.
        if ((int)response.StatusCode >= 400)
        {
            Assert.Equal("application/fhir+json", response.Content.Headers.ContentType?.MediaType);
            Assert.Equal("OperationOutcome", (string?)answer.Json["resourceType"]);
        }

        return answer;
    }

    public static byte[] Gzip(byte[] bytes)
    {
        using var packed = new MemoryStream();
        using (var gzip = new GZipStream(packed, CompressionLevel.Fastest))
            gzip.Write(bytes);
        return packed.ToArray();
    }
}

/// <summary>What came back, with the headers that FHIR speaks of.</summary>
internal sealed record Answer(
    HttpStatusCode Status,
    string Text,
    string? Location,
    string? ETag,
    DateTimeOffset? LastModified,
    IReadOnlyList<string> Allow,
    string? RetryAfter
)
{
    public JsonNode Json => JsonNode.Parse(Text)!;

    public string Id => (string)Json["id"]!;

    /// <summary>Stable codes of the issues.</summary>
    public IReadOnlyList<string> Codes => [.. Json["issue"]!.AsArray().Select(i => (string?)i!["details"]?["coding"]?[0]?["code"] ?? "")];

    public static async Task<Answer> Of(HttpResponseMessage response) =>
        new(
            response.StatusCode,
            await response.Content.ReadAsStringAsync(),
            response.Headers.Location?.ToString(),
            response.Headers.ETag?.ToString(),
            response.Content.Headers.LastModified,
            [.. response.Content.Headers.Allow],
            response.Headers.RetryAfter?.ToString()
        );

    public Answer Is(int status)
    {
        Assert.True((int)Status == status, $"{(int)Status} instead of {status}: {Text}");
        return this;
    }

    public Answer Refuses(int status, string code, string? where, string says = "")
    {
        Is(status);
        var issue = Json["issue"]!
            .AsArray()
            .Select(i => i!)
            .FirstOrDefault(i =>
                (string?)i["details"]?["coding"]?[0]?["code"] == code
                && (where is null || i["expression"]!.AsArray().Any(e => (string)e! == where))
            );
        Assert.True(issue is not null, $"no {code} at {where} in {Text}");
        Assert.Contains(says, (string)issue["diagnostics"]!, StringComparison.Ordinal);
        return this;
    }
}
