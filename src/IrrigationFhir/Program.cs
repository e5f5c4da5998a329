using IrrigationFhir.Demo;
using IrrigationFhir.Entries;
using IrrigationFhir.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Health;
using IrrigationFhir.Intake;
using IrrigationFhir.Package;
using IrrigationFhir.Rest;
using IrrigationFhir.Settings;
using IrrigationFhir.Store;
using IrrigationFhir.Subscriptions;

if (args is ["backup", ..]) return BackUp.Run(args[1..], Console.Out, Console.Error);
if (args is ["compute", ..]) return Compute.Run(args[1..], Console.Out, Console.Error);
if (args is ["demo", ..]) return await NightOnTheWard.Run(args[1..], Console.Out);
if (args is ["health", ..]) return await Probe.Run(args[1..], Console.Out);
if (args is ["package", ..]) return PackageApi.Write(args[1..], Console.Out, Console.Error);
if (args is ["restore", ..]) return BackUp.Restore(args[1..], Console.Out, Console.Error);
if (args is ["settings", ..]) return SettingsApi.Print(args[1..], Console.Out, Console.Error);

try
{
    var app = Service.Build(args);
    app.OpenStore();
    await app.RunAsync();
    return 0;
}
catch (Exception fault) when (fault is SettingsFault or StoreFault)
{
    Console.Error.WriteLine(fault.Message);
    return 2;
}

/// <summary>The service, room by room.</summary>
internal static class Service
{
    /// <summary>Builds it from arguments, environment and appsettings.json, by the system's clock or another.</summary>
    public static WebApplication Build(string[] args, TimeProvider? clock = null)
    {
        var builder = WebApplication.CreateBuilder(args);

        builder.Services.AddSingleton(clock ?? TimeProvider.System);
        builder.Services.AddReadableJson();
        builder.Services.AddSettings(builder.Configuration);
        builder.Services.AddEpisodeStore(builder.Configuration);
        builder.Services.AddProfileValidation();
        builder.Services.AddEpisodes();
        builder.Services.AddEntries();
        builder.Services.AddFhir(builder.Configuration);
        builder.Services.AddIntake(builder.Configuration);
        builder.Services.AddNotifications(builder.Configuration);
        builder.Services.AddSubscriptions();
        builder.Services.AddPackage();
        builder.Services.AddHealth();
        builder.Services.AddContract();

        var app = builder.Build();

        app.UseOperationOutcomes();     // every failure leaves here as an OperationOutcome

        app.MapEntries();               // POST  what was instilled, drained, seen, ordered
        app.MapEpisodes();              // GET   the log, and the balance it yields
        app.MapFhir();                  // GET   read, search, history, metadata
        app.MapIntake();                // POST  the same as FHIR: Observations, batch, transaction, $validate
        app.MapSubscriptions();         // POST  who is told when a flag is raised
        app.MapPackage();               // GET   what defines it all, as one package
        app.MapSettings();              // GET   what the numbers rest on
        app.MapContract();              // GET   the contract
        app.MapHealth();

        return app;
    }
}
