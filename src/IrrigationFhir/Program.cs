using IrrigationFhir;
using IrrigationFhir.Analytics;
using IrrigationFhir.Audit;
using IrrigationFhir.Beds;
using IrrigationFhir.Commands;
using IrrigationFhir.Demo;
using IrrigationFhir.DripRate;
using IrrigationFhir.Entries;
using IrrigationFhir.Episodes;
using IrrigationFhir.Health;
using IrrigationFhir.Intake;
using IrrigationFhir.Package;
using IrrigationFhir.Record;
using IrrigationFhir.Rest;
using IrrigationFhir.Settings;
using IrrigationFhir.Store;
using IrrigationFhir.Subscriptions;
using IrrigationFhir.Tokens;
using IrrigationFhir.Validation;

Command[] commands =
[
    new(
        "audit",
        "--check [HASH] [settings]",
        "Whether what is recorded of who did what is whole: no row missing, none changed.",
        rest => Task.FromResult(AuditCommand.Run(rest, Console.Out, Console.Error))
    ),
    new(
        "backup",
        "TARGET [settings]",
        "Copies the store into one file, while it is served or not, and reads the copy through.",
        rest => Task.FromResult(BackUpCommand.Run(rest, Console.Out, Console.Error))
    ),
    new(
        "compute",
        "[--json] <log.json>",
        "The balance of a log in a file, with every intermediate step.",
        rest => Task.FromResult(Compute.Run(rest, Console.Out, Console.Error))
    ),
    new(
        "demo",
        "[--once] [--story night|day] [--ward N [--seed S]] [settings]",
        "An invented night, or a day of irrigations by syringe: recorded, worked out, told. Then serves. --ward fills a store of its own "
            + "with N invented irrigations over four weeks, to try things on.",
        rest =>
            FilledWard.IsMeant(rest)
                ? FilledWard.Run(rest, Console.Out, Console.Error)
                : NightOnTheWard.Run(rest, Console.Out, Console.Error)
    )
    {
        BesideSettings = ["--once", "--story", .. InventedStory.All.Select(story => story.Slug)],
        WithValue = FilledWard.Options,
    },
    new(
        "drip-rate",
        "[--json] --dropFactor=N …",
        "Drops a minute for a volume in a time or a rate, and back; alone it says how to ask.",
        rest => Task.FromResult(DripRateApi.Print(rest, () => SiteSettings.Here().Balance, Console.Out, Console.Error))
    ),
    new(
        "export",
        "FOLDER [--format F] [--since T]",
        "The whole store as tables (parquet, csv, ndjson) or as FHIR, of one moment, while it is served or not.",
        rest =>
        {
            ExportCommand.GiveWay();
            return ExportCommand.Run(rest, Console.Out, Console.Error);
        }
    ),
    new("health", "[http://host:port]", "Asks a running service whether it can work.", rest => Probe.Run(rest, Console.Out)),
    new(
        "package",
        "<file.tgz>",
        "Writes what defines it all, as one FHIR package.",
        rest => Task.FromResult(PackageApi.Write(rest, Console.Out, Console.Error))
    ),
    new(
        "restore",
        "[--check] SOURCE [settings]",
        "Puts a backup into an empty folder, or says whether that would do.",
        rest => Task.FromResult(RestoreCommand.Run(rest, Console.Out, Console.Error))
    ),
    new(
        "settings",
        "[settings]",
        "Prints the settings that the numbers rest on.",
        rest => Task.FromResult(SettingsCommand.Run(rest, Console.Out, Console.Error))
    )
    {
        BesideSettings = [],
    },
];

return await CommandLine.Run(args, commands, Service.Serve, Console.Out, Console.Error);

/// <summary>The service, room by room.</summary>
internal static class Service
{
    /// <summary>Serves until it is stopped.</summary>
    /// <exception cref="SettingsFault">Some settings cannot be used; all of those are named.</exception>
    /// <exception cref="StoreFault">What lies in the folder cannot be served; nothing was changed.</exception>
    public static async Task<int> Serve(string[] args)
    {
        var app = Build(args);
        app.OpenStore();
        await app.RunAsync();
        return 0;
    }

    /// <summary>Builds it from arguments, environment and appsettings.json, by the system's clock or another.</summary>
    /// <exception cref="SettingsFault">Some settings cannot be used; all of those are named.</exception>
    public static WebApplication Build(string[] args, TimeProvider? clock = null)
    {
        // Settings are read at a start: to watch files for others would look at every write to a store that lies beside them.
        var builder = WebApplication.CreateBuilder(["--hostBuilder:reloadConfigOnChange=false", .. args]);
        builder.Configuration.SayLessOfRequests();

        builder.Services.AddSingleton(clock ?? TimeProvider.System);
        builder.Services.AddReadableJson();
        builder.Services.AddSettings(builder.Configuration);
        builder.Services.AddEpisodeStore(builder.Configuration);
        builder.Services.AddAudit();
        builder.Services.AddProfileValidation();
        builder.Services.AddRecord();
        builder.Services.AddEpisodes();
        builder.Services.AddFhir(builder.Configuration);
        builder.Services.AddAccess(builder.Configuration);
        builder.Services.AddIntake(builder.Configuration);
        builder.Services.AddNotifications(builder.Configuration);
        builder.Services.AddSubscriptions();
        builder.Services.AddTokens(builder.Configuration);
        builder.Services.AddPackage();
        builder.Services.AddAnalytics();
        builder.Services.AddHealth();
        builder.Services.AddTelemetry(builder.Configuration);
        builder.Services.AddContract();

        var app = builder.Build();
        app.WarmProfiles(); // begins at once, beside what else is done at a start

        app.UseProxies(); // which of them are believed
        app.UseTelemetry(); // a span for each request, with nothing of whom it is about
        app.UsePackedReplies(); // for whom asks for it
        app.UseRequestIds(); // each request has a name, and its answer says it
        app.UseOperationOutcomes(); // every failure leaves here as an OperationOutcome
        app.UseAllowedHosts(); // links carry a host that is known
        app.UseAccess(); // who asks, and whether they may
        app.UseAudit(); // what is done is done on somebody's behalf
        app.UseRateLimiter(); // who is one too many is told so

        app.MapEntries(); // POST  what was instilled, drained, seen, ordered
        app.MapEpisodes(); // GET   the log, and the balance it yields
        app.MapWard(); // GET   every open irrigation, by who needs a person first
        app.MapFhir(); // GET   read, search, history, metadata
        app.MapIntake(); // POST  the same as FHIR: Observations, batch, transaction, $validate
        app.MapTokens(); // POST  who may ask for what: tokens, and the keys that they are signed with
        app.MapSubscriptions(); // POST  who is told when a flag is raised
        app.MapAnalytics(); // GET   tables, exports, and their files
        app.MapPackage(); // GET   what defines it all, as one package
        app.MapDripRate(); // GET   drops a minute, and back, without any episode
        app.MapSettings(); // GET   what the numbers rest on
        app.MapContract(); // GET   the contract
        app.MapStartPage(); // GET   where everything is, and both contracts to try
        app.MapHealth();

        return app;
    }
}
