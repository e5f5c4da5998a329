using IrrigationFhir.Access;
using IrrigationFhir.Health;
using IrrigationFhir.Problems;
using IrrigationFhir.Store;
using Microsoft.Extensions.Diagnostics.HealthChecks;
using Microsoft.Net.Http.Headers;

namespace IrrigationFhir.Rest;

/// <summary>
/// The one gate: who asks is told first, and what an address needs (<see cref="AccessNeeds"/>) is compared with what they may. An address
/// that declares nothing is answered to nobody.
/// </summary>
internal static partial class AccessGate
{
    /// <summary>Adds the settings of access, and whoever asks an open service.</summary>
    public static IServiceCollection AddAccess(this IServiceCollection services, IConfiguration configuration)
    {
        var settings = Read(configuration);
        services.AddSingleton(settings);
        services.AddSingleton<ICallers, OpenCallers>();
        services.AddHostedService<Listeners.Watch>();
        if (settings is { Mode: AccessMode.Open, OpenToNetwork: true })
        {
            services.AddHostedService(provider => new Reminder(Reminder.OpenToNetwork, provider.GetRequiredService<ILogger<Reminder>>()));
            services.AddHealthChecks().AddCheck("access", () => HealthCheckResult.Healthy(Reminder.OpenToNetwork), tags: [HealthApi.Ready]);
        }

        if (settings.PlainHttp)
            services.AddHostedService(provider => new Reminder(Reminder.PlainHttp, provider.GetRequiredService<ILogger<Reminder>>()));

        return services;
    }

    /// <summary>Says at each start what a site has taken upon itself.</summary>
    private sealed partial class Reminder(string says, ILogger<Reminder> log) : IHostedService
    {
        public const string OpenToNetwork = "without access control: whoever reaches this service may do everything (Access:OpenToNetwork)";
        public const string PlainHttp = "tokens are taken unencrypted: something else has to encrypt them on their way (Access:PlainHttp)";

        public Task StartAsync(CancellationToken cancellationToken)
        {
            Log(log, says);
            return Task.CompletedTask;
        }

        public Task StopAsync(CancellationToken cancellationToken) => Task.CompletedTask;

        [LoggerMessage(1, LogLevel.Warning, "{Says}")]
        private static partial void Log(ILogger log, string says);
    }

    /// <summary>Reads and checks the settings.</summary>
    /// <exception cref="SettingsFault">Some cannot be used.</exception>
    public static AccessSettings Read(IConfiguration configuration)
    {
        var settings = AccessSettings.Read(configuration);
        var shared = PatientNumber
            .Shared(settings.Facilities)
            .Select(names => $"Access:Facilities: {string.Join(" and ", names)} come to the same number; give one another name")
            .ToList();
        return shared.Count == 0 ? settings : throw new SettingsFault(shared);
    }

    /// <summary>Lets requests through. Put it behind what turns failures into OperationOutcomes, and before the doors.</summary>
    public static WebApplication UseAccess(this WebApplication app)
    {
        var callers = app.Services.GetRequiredService<ICallers>();
        var settings = app.Services.GetRequiredService<AccessSettings>();
        var audit = app.Services.GetRequiredService<IAudit>();
        app.Use(
            async (http, next) =>
            {
                var needs = http.GetEndpoint()?.Metadata.GetMetadata<AccessNeeds>();
                if (settings.IsOfThisMachine && FromElsewhere(http.Request) is { } stranger)
                    await Refuse(http, stranger, audit);
                else if (needs is { Open: true })
                {
                    Caller.Nobody.Asks(http);
                    await next(http);
                }
                else
                {
                    await Judge(http, needs, callers, audit, next);
                }
            }
        );
        return app;
    }

    private static async Task Judge(HttpContext http, AccessNeeds? needs, ICallers callers, IAudit audit, RequestDelegate next)
    {
        var (caller, refusal) = await callers.Of(http);
        if (caller is null && refusal == "too-many-requests")
        {
            http.Response.Headers.RetryAfter = "1";
            const string Pause = "the same request again after a pause; Retry-After says how long";
            const string Saw = "too many requests from there that did not say who sends them";
            await Refuse(http, Refuse(StatusCodes.Status429TooManyRequests, refusal, Saw, Pause), audit);
            return;
        }

        if (caller is null)
        {
            http.Response.Headers.WWWAuthenticate = refusal == "not-authenticated" ? "Bearer" : "Bearer error=\"invalid_token\"";
            const string Header = "a bearer token in the Authorization header";
            await Refuse(http, Refuse(StatusCodes.Status401Unauthorized, refusal!, "no valid access token", Header), audit);
            return;
        }

        caller.Asks(http);
        // An address that nothing is at, or a method that it does not take, is told apart behind the gate alone.
        var there = http.GetEndpoint() is RouteEndpoint;
        if (there && (needs is null || !caller.Covers(needs)))
        {
            http.Response.Headers.WWWAuthenticate = "Bearer error=\"insufficient_scope\"";
            await Refuse(http, FhirReads.Forbidden, audit);
            return;
        }

        await next(http);
    }

    private static Task Refuse(HttpContext http, OutcomeResult refusal, IAudit audit)
    {
        audit.Refused(http, refusal.StatusCode, refusal.Code!);
        return refusal.ExecuteAsync(http);
    }

    /// <summary>
    /// What speaks for a request to an open service coming from elsewhere, though its connection does not: by a proxy, or out of a page
    /// that a browser was led to (by an address of its own that resolves to this machine, or straight across).
    /// </summary>
    private static OutcomeResult? FromElsewhere(HttpRequest request)
    {
        if (request.Headers.ContainsKey("Forwarded") || request.Headers.Keys.Any(IsForwarded))
        {
            return Refuse(
                StatusCodes.Status403Forbidden,
                "open-service-published",
                "a proxy passes requests on to an open service",
                "Access:Mode tokens or own, or Access:OpenToNetwork where the proxy guards it"
            );
        }

        var origin = request.Headers[HeaderNames.Origin].ToString();
        if (origin.Length > 0 && !(Uri.TryCreate(origin, UriKind.Absolute, out var from) && from.IsLoopback))
        {
            return Refuse(
                StatusCodes.Status403Forbidden,
                "open-service-published",
                "a page from elsewhere asks",
                "a request of this machine's own"
            );
        }

        return null;
    }

    private static bool IsForwarded(string header) => header.StartsWith("X-Forwarded-", StringComparison.OrdinalIgnoreCase);

    private static OutcomeResult Refuse(int status, string code, string saw, string expected) =>
        new(status, Outcome.Problem(code, saw, expected, null));
}
