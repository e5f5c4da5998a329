using System.Collections.Concurrent;
using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Audit;
using IrrigationFhir.Health;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Store;
using Microsoft.AspNetCore.Builder;
using Microsoft.AspNetCore.Http;
using Microsoft.Extensions.Configuration;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;
using Microsoft.Extensions.Time.Testing;

namespace IrrigationFhir.Tests.Rest;

/// <summary>The reading side over real HTTP on a free port, with the real store in a folder of its own.</summary>
internal sealed class FhirOverHttp : IAsyncDisposable
{
    private readonly WebApplication _app;
    private readonly string _folder;

    private FhirOverHttp(WebApplication app, string folder, HttpClient client, FakeTimeProvider clock, ConcurrentQueue<string> log)
    {
        (_app, _folder, Client, Clock, Log) = (app, folder, client, clock, log);
        Episodes = app.Services.GetRequiredService<EpisodeStore>();
        Database = app.Services.GetRequiredService<Database>();
    }

    public HttpClient Client { get; }

    public FakeTimeProvider Clock { get; }

    public EpisodeStore Episodes { get; }

    public Database Database { get; }

    public ConcurrentQueue<string> Log { get; }

    public string Base => Client.BaseAddress + "fhir";

    public static async Task<FhirOverHttp> Start(Action<IServiceCollection>? more = null, params (string Key, string Value)[] settings)
    {
        var folder = Directory.CreateTempSubdirectory("fhir-").FullName;
        var clock = new FakeTimeProvider(StoreOnDisk.At("2026-03-02T12:00:00Z").ToDateTimeOffset());
        var log = new ConcurrentQueue<string>();
        var builder = WebApplication.CreateBuilder();
        builder.Configuration.AddInMemoryCollection([
            new("Data:Folder", folder),
            new("Data:TimeZone", "Europe/Berlin"),
            new("urls", "http://127.0.0.1:0"),
        ]);
        builder.Configuration.AddInMemoryCollection([
            .. settings.Select(setting => KeyValuePair.Create(setting.Key, (string?)setting.Value)),
        ]);
        builder.Logging.ClearProviders().AddProvider(new Recorder(log)).SetMinimumLevel(LogLevel.Debug);
        builder.Services.AddSingleton<TimeProvider>(clock);
        builder.Services.AddEpisodeStore(builder.Configuration);
        builder.Services.AddFhir(builder.Configuration);
        builder.Services.AddAccess(builder.Configuration);
        builder.Services.AddAudit();
        builder.Services.AddHealth();
        more?.Invoke(builder.Services);

        var app = builder.Build();
        app.UseOperationOutcomes();
        app.UseAllowedHosts();
        app.UseAccess();
        app.MapFhir();
        app.MapHealth();
        app.MapGet("/broken", string () => throw new InvalidOperationException("planted-secret")).Needs(AccessNeeds.AnyToken);
        app.MapGet(
                "/broken-off",
                async (HttpResponse response) =>
                {
                    await response.WriteAsync("half an answer");
                    await response.Body.FlushAsync();
                    throw new InvalidOperationException("planted-secret");
                }
            )
            .Needs(AccessNeeds.AnyToken);
        app.MapPost("/echo", async (HttpRequest request) => Results.Text(await new StreamReader(request.Body).ReadToEndAsync()))
            .Needs(AccessNeeds.AnyToken);
        app.MapPost("/number", (Numbered body) => Results.Ok(body.Number)).Needs(AccessNeeds.AnyToken);
        await app.StartAsync();
        return new(app, folder, new() { BaseAddress = new(app.Urls.Single() + "/") }, clock, log);
    }

    public async Task<EpisodeRow> OpenEpisode(string id, string patient = "P-1") =>
        Assert.IsType<OpenOutcome.Opened>(await Episodes.Open(StoreOnDisk.Episode(id, patient), default)).Episode;

    public async System.Threading.Tasks.Task Save(string episodeId, params Resource[] resources)
    {
        var episode = await Episodes.Find(episodeId, default);
        Assert.IsType<SaveOutcome.Saved>(await Episodes.Save(StoreOnDisk.Change(episode!, [], resources), default));
    }

    public async Task<T> Get<T>(string address, int status = 200)
        where T : Resource
    {
        using var reply = await Client.GetAsync(new Uri(address, UriKind.RelativeOrAbsolute));
        return await Read<T>(reply, status);
    }

    /// <summary>Checks status and media type, and reads the body with the strict FHIR reader.</summary>
    public static async Task<T> Read<T>(HttpResponseMessage reply, int status)
        where T : Resource
    {
        var text = await reply.Content.ReadAsStringAsync();
        Assert.True((int)reply.StatusCode == status, $"{(int)reply.StatusCode} instead of {status}: {text}");
        Assert.Equal("application/fhir+json; charset=utf-8", reply.Content.Headers.ContentType?.ToString());
        return FhirJson.Read<T>(text);
    }

    /// <summary>The ids on one page of a search.</summary>
    public async Task<IReadOnlyList<string>> Ids(string address) =>
        [.. (await Get<Bundle>(address)).Entry.Select(entry => entry.Resource!.Id!)];

    public async ValueTask DisposeAsync()
    {
        Client.Dispose();
        await _app.DisposeAsync();
        if (Directory.Exists(_folder))
            Directory.Delete(_folder, recursive: true);
    }

    internal sealed record Numbered(int Number);

    /// <summary>Keeps what is logged.</summary>
    internal sealed class Recorder(ConcurrentQueue<string> log) : ILoggerProvider, ILogger
    {
        public ILogger CreateLogger(string categoryName) => this;

        public IDisposable? BeginScope<TState>(TState state)
            where TState : notnull => null;

        public bool IsEnabled(LogLevel logLevel) => true;

        public void Log<TState>(
            LogLevel logLevel,
            EventId eventId,
            TState state,
            Exception? exception,
            Func<TState, Exception?, string> formatter
        ) => log.Enqueue($"{logLevel} {formatter(state, exception)} {exception}");

        public void Dispose() { }
    }
}
