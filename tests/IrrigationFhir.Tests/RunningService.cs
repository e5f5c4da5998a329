using System.Net;
using System.Net.Http.Headers;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Tests.Validation;
using Microsoft.AspNetCore.Hosting;
using Microsoft.AspNetCore.Mvc.Testing;
using Microsoft.AspNetCore.TestHost;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Time.Testing;
using NodaTime.Text;

namespace IrrigationFhir.Tests;

/// <summary>
/// The whole service as it is deployed, over real HTTP on a free port, in a folder of its own; only its clock stands still, where
/// the test puts it.
/// </summary>
internal sealed class RunningService : WebApplicationFactory<Program>
{
    public const string PatientSystem = "https://ward.example/patients";
    public const string EpisodeSystem = "https://ward.example/episodes";

    private readonly bool _ownFolder;
    private readonly (string Key, string Value)[] _settings;
    private readonly Action<IServiceCollection>? _more;

    private RunningService(string now, string? folder, Action<IServiceCollection>? more, (string Key, string Value)[] settings)
    {
        _more = more;
        _ownFolder = folder is null;
        _settings = settings;
        Folder = folder ?? Directory.CreateTempSubdirectory("ward-").FullName;
        Clock = new(InstantPattern.ExtendedIso.Parse(now).Value.ToDateTimeOffset());
        UseKestrel();
        StartServer();
        Http = CreateClient();
    }

    /// <summary>Where it keeps its data; removed at the end, unless the folder was given.</summary>
    public string Folder { get; }

    public FakeTimeProvider Clock { get; }

    public HttpClient Http { get; }

    /// <summary>Starts one at a moment of its clock.</summary>
    public static RunningService Start(string now, string? folder = null, params (string Key, string Value)[] settings) =>
        new(now, folder, null, settings);

    /// <summary>Starts one with some services in place of its own.</summary>
    public static RunningService Start(
        string now,
        Action<IServiceCollection> more,
        string? folder = null,
        params (string Key, string Value)[] settings
    ) => new(now, folder, more, settings);

    /// <summary>An episode's description.</summary>
    public static JsonObject Episode(string identifier, string start, string? end = null, string? patient = null)
    {
        var episode = new JsonObject
        {
            ["identifier"] = new JsonObject { ["system"] = EpisodeSystem, ["value"] = identifier },
            ["patient"] = new JsonObject
            {
                ["identifier"] = new JsonObject { ["system"] = PatientSystem, ["value"] = patient ?? $"patient of {identifier}" },
            },
            ["start"] = start,
        };
        if (end is not null)
            episode["end"] = end;
        return episode;
    }

    /// <summary>Opens an episode that must be new; answers its id.</summary>
    public async Task<string> Open(JsonObject episode)
    {
        var reply = await Post("/episodes", episode);
        Assert.True(reply.Status == HttpStatusCode.Created, reply.Text);
        return (string)reply.Json["id"]!;
    }

    /// <summary>Records entries, all of which must be taken.</summary>
    public async Task<Reply> Record(string episode, params JsonNode[] entries)
    {
        var reply = await Post($"/episodes/{episode}/entries", new JsonArray([.. entries.Select(e => e.DeepClone())]));
        Assert.True(reply.Status == HttpStatusCode.OK, reply.Text);
        Assert.True(reply.Json["withheld"]!.AsArray().Count == 0, reply.Json["withheld"]!.ToJsonString());
        return reply;
    }

    /// <summary>Posts JSON.</summary>
    public Task<Reply> Post(string address, JsonNode body, string? prefer = null) =>
        Post(address, Encoding.UTF8.GetBytes(body.ToJsonString()), "application/json", prefer);

    /// <summary>Posts bytes as they are.</summary>
    public async Task<Reply> Post(string address, byte[] body, string? contentType, string? prefer = null, bool chunked = false)
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, new Uri(address, UriKind.Relative))
        {
            Content = new ByteArrayContent(body),
        };
        if (contentType is not null)
            request.Content.Headers.ContentType = MediaTypeHeaderValue.Parse(contentType);
        if (prefer is not null)
            request.Headers.Add("Prefer", prefer);
        request.Headers.TransferEncodingChunked = chunked;

        // A body over the limit is not read, so the server closes the connection behind its answer: nobody else may wait on it.
        request.Headers.ConnectionClose = body.Length > EveningOnTheWard.MostBytes;
        using var response = await Http.SendAsync(request);
        return await Reply.Of(response);
    }

    /// <summary>Gets whatever is there.</summary>
    public async Task<Reply> Get(string address)
    {
        using var response = await Http.GetAsync(new Uri(address, UriKind.RelativeOrAbsolute));
        return await Reply.Of(response);
    }

    /// <summary>Gets what must be there.</summary>
    public async Task<JsonNode> Read(string address)
    {
        var reply = await Get(address);
        Assert.True(reply.Status == HttpStatusCode.OK, $"{address}: {reply.Text}");
        return reply.Json;
    }

    /// <summary>Version of an episode and every row of its log: what a refused request must leave as it was.</summary>
    public async Task<string> Everything(string episode) =>
        $"{await Read($"/episodes/{episode}")}\n{await Read($"/episodes/{episode}/entries")}";

    /// <summary>Every current resource of an episode by type and id, read through the FHIR search of its patient.</summary>
    public Task<SortedDictionary<string, JsonNode>> Resources(string episode) =>
        Resources(episode, "Observation", "Procedure", "Provenance");

    /// <summary>The same of some types, by address.</summary>
    public async Task<SortedDictionary<string, JsonNode>> Resources(string episode, params string[] types)
    {
        var found = new SortedDictionary<string, JsonNode>(StringComparer.Ordinal);
        var patient = (await Read($"/episodes/{episode}"))["episode"]!["patient"]!["identifier"]!;
        var token = Uri.EscapeDataString($"{patient["system"]}|{patient["value"]}");
        foreach (
            var search in types.Select(type =>
                type == "Provenance" ? "Provenance?_count=1000" : $"{type}?patient.identifier={token}&_count=1000"
            )
        )
        {
            for (var next = (string?)$"/fhir/{search}"; next is not null; )
            {
                var page = await Read(next);
                foreach (var resource in page["entry"]?.AsArray().Select(e => e!["resource"]!) ?? [])
                {
                    if (((string)resource["id"]!).StartsWith($"{episode}.", StringComparison.Ordinal))
                        found.Add($"{resource["resourceType"]}/{resource["id"]}", resource);
                }

                next = page["link"]!
                    .AsArray()
                    .Where(l => (string)l!["relation"]! == "next")
                    .Select(l => (string?)l!["url"])
                    .FirstOrDefault();
            }
        }

        return found;
    }

    /// <summary>
    /// The resources of an episode without what tells two stores of the same facts apart: versions, when they were stored, the
    /// episode's id and identifier. What was withdrawn on the way is left out, and so is why a flag was: that depends on what was said
    /// before.
    /// </summary>
    public async Task<SortedDictionary<string, string>> Facts(string episode)
    {
        var description = (await Read($"/episodes/{episode}"))["episode"]!;
        string[] own = [episode, $"\"{description["identifier"]!["value"]}\"", $"\"{description["patient"]!["identifier"]!["value"]}\""];
        string Neutral(string text) => own.Aggregate(text, (so, name) => so.Replace(name, "…", StringComparison.Ordinal));
        var facts = new SortedDictionary<string, string>(StringComparer.Ordinal);
        foreach (var (address, resource) in await Resources(episode, "Observation", "Procedure", "Provenance", "Flag"))
        {
            if ((string?)resource["status"] == "entered-in-error")
                continue;
            if (((string?)resource["target"]?[0]?["reference"])?.StartsWith("Flag/", StringComparison.Ordinal) == true)
                continue;
            var meta = resource["meta"]!.AsObject();
            meta.Remove("versionId");
            meta.Remove("lastUpdated");
            facts.Add(Neutral(address), Neutral(resource.ToJsonString()));
        }

        return facts;
    }

    /// <inheritdoc/>
    public override async ValueTask DisposeAsync()
    {
        Http.Dispose();
        await base.DisposeAsync();
        if (_ownFolder)
            await Remove(Folder);
    }

    /// <summary>Removes a folder in which the engine may still be closing its files.</summary>
    public static async Task Remove(string folder)
    {
        for (var patience = 50; Directory.Exists(folder); patience--)
        {
            try
            {
                Directory.Delete(folder, recursive: true);
            }
            catch (IOException) when (patience > 0)
            {
                await Task.Delay(100);
            }
        }
    }

    /// <inheritdoc/>
    protected override void ConfigureWebHost(IWebHostBuilder builder)
    {
        // UseKestrel(0) would set the port while the server may already be starting.
        builder.UseSetting(WebHostDefaults.ServerUrlsKey, "http://127.0.0.1:0");
        builder.UseSetting("Data:Folder", Folder);
        builder.UseSetting("Logging:LogLevel:Default", "Warning");
        foreach (var (key, value) in _settings)
            builder.UseSetting(key, value);
        builder.ConfigureTestServices(services =>
        {
            services.AddSingleton<TimeProvider>(Clock);
            _more?.Invoke(services);

            // The profiles take seconds to read and never change: one validator serves every instance of the usual base.
            if (!Array.Exists(_settings, setting => setting.Key == "Fhir:CanonicalBase"))
                services.AddSingleton(Judged.Validator);
        });
    }
}

/// <summary>What came back.</summary>
internal sealed record Reply(HttpStatusCode Status, string? MediaType, string? Location, string Text)
{
    /// <summary>The body as JSON.</summary>
    public JsonNode Json => JsonNode.Parse(Text)!;

    /// <summary>The codes of an OperationOutcome's issues.</summary>
    public IReadOnlyList<string> Codes => [.. Json["issue"]!.AsArray().Select(issue => (string)issue!["details"]!["coding"]![0]!["code"]!)];

    /// <summary>What became of each entry.</summary>
    public IReadOnlyList<string> Outcomes => [.. Json["entries"]!.AsArray().Select(e => (string)e!["outcome"]!)];

    /// <summary>Addresses of the resources that got a new version.</summary>
    public IReadOnlyList<string> Changed => [.. Json["changed"]!.AsArray().Select(c => $"{c!["type"]}/{c["id"]}")];

    public static async Task<Reply> Of(HttpResponseMessage response) =>
        new(
            response.StatusCode,
            response.Content.Headers.ContentType?.MediaType,
            response.Headers.Location?.ToString(),
            await response.Content.ReadAsStringAsync()
        );

    /// <summary>
    /// Checks that it is a refusal as a sender may rely on it: an OperationOutcome with the stable code, where, what was seen and
    /// what is expected.
    /// </summary>
    public void Refuses(int status, string code, string? where, string saw, string expected)
    {
        Assert.True((int)Status == status, $"{(int)Status} instead of {status}: {Text}");
        Assert.Equal("application/fhir+json", MediaType);
        Assert.Equal("OperationOutcome", (string)Json["resourceType"]!);
        var issue = Json["issue"]!.AsArray().Select(i => i!).SingleOrDefault(i => (string)i["details"]!["coding"]![0]!["code"]! == code);
        Assert.True(issue is not null, $"no {code} in {Text}");
        Assert.Equal("error", (string)issue["severity"]!);
        Assert.Equal("https://irrigationfhir.example/fhir/CodeSystem/problem", (string)issue["details"]!["coding"]![0]!["system"]!);
        var diagnostics = (string)issue["diagnostics"]!;
        var sentence = diagnostics.Split("; ", 2);
        Assert.Contains(saw, sentence[0], StringComparison.Ordinal);
        Assert.Contains(expected, sentence[1], StringComparison.Ordinal);
        Assert.Equal(where, (string?)issue["expression"]?[0]);
        if (where is not null)
            Assert.StartsWith($"{where}: ", diagnostics, StringComparison.Ordinal);
    }
}

/// <summary>One service for the tests about single wards' stories: small limits, and 22:00 UTC on an invented evening.</summary>
public sealed class EveningOnTheWard : IAsyncLifetime
{
    public const string Name = "evening on the ward";
    public const string Now = "2026-03-14T22:00:00Z";
    public const int MostBytes = 64 * 1024;
    public const int MostEntries = 100;

    private int _episodes;

    internal RunningService Service { get; private set; } = null!;

    public Task InitializeAsync()
    {
        Service = RunningService.Start(
            Now,
            null,
            ("Fhir:MaxBodyBytes", $"{MostBytes}"),
            ("Entries:Most", $"{MostEntries}"),
            ("Subscriptions:AllowLoopback", "true")
        );
        return Task.CompletedTask;
    }

    public async Task DisposeAsync() => await Service.DisposeAsync();

    /// <summary>An identifier that no other test has.</summary>
    internal string NewIdentifier() => $"stay-{Interlocked.Increment(ref _episodes)}";

    /// <summary>A new episode from 08:00.</summary>
    internal Task<string> Open(string? end = null) => Service.Open(RunningService.Episode(NewIdentifier(), "2026-03-14T08:00:00Z", end));
}

/// <summary>Test classes that share <see cref="EveningOnTheWard"/>.</summary>
[CollectionDefinition(EveningOnTheWard.Name)]
public sealed class EveningOnTheWardShared : ICollectionFixture<EveningOnTheWard>;
