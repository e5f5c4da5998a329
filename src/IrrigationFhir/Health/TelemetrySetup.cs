using System.Diagnostics;
using System.Globalization;
using Microsoft.AspNetCore.Http.Features;
using OpenTelemetry.Metrics;
using OpenTelemetry.Resources;
using OpenTelemetry.Trace;

namespace IrrigationFhir.Health;

/// <summary>Traces and metrics by OpenTelemetry, sent by OTLP where an endpoint is set, and nowhere otherwise.</summary>
/// <remarks>
/// OpenTelemetry's own instrumentation of ASP.NET Core writes the path and the query of each request into its span, and those hold the ids
/// of patients and episodes. So the framework's span, which also takes over the caller's trace, is described here, by the template of its
/// route. Nor are calls to subscribers' endpoints traced: their addresses may hold secrets. Logs go to the console alone.
/// </remarks>
internal static class TelemetrySetup
{
    /// <summary>The framework's source of one span per request, and its meters; none of them is given an id.</summary>
    private const string Requests = "Microsoft.AspNetCore";

    private static readonly string[] Meters =
    [
        Telemetry.Name,
        "Microsoft.AspNetCore.Hosting",
        "Microsoft.AspNetCore.Server.Kestrel",
        "System.Runtime",
    ];

    private const string TracesEndpoint = "OTEL_EXPORTER_OTLP_TRACES_ENDPOINT";
    private const string MetricsEndpoint = "OTEL_EXPORTER_OTLP_METRICS_ENDPOINT";

    private static readonly string[] Endpoints = ["OTEL_EXPORTER_OTLP_ENDPOINT", TracesEndpoint, MetricsEndpoint];

    private static readonly HashSet<string> Methods = ["CONNECT", "DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT", "TRACE"];

    /// <summary>Adds the export where it is asked for.</summary>
    public static IServiceCollection AddTelemetry(this IServiceCollection services, IConfiguration configuration)
    {
        var asked = Endpoints.Where(key => configuration[key] is { Length: > 0 }).ToList();
        if (asked.Count == 0)
            return services;

        var name = configuration["OTEL_SERVICE_NAME"] is { Length: > 0 } given ? given : "irrigationfhir";
        var version = typeof(TelemetrySetup).Assembly.GetName().Version?.ToString(3);
        var telemetry = services.AddOpenTelemetry().ConfigureResource(resource => resource.AddService(name, serviceVersion: version));
        if (asked.Exists(key => key != MetricsEndpoint))
            telemetry.WithTracing(traces => traces.AddSource(Telemetry.Name, Requests).AddOtlpExporter());
        if (asked.Exists(key => key != TracesEndpoint))
            telemetry.WithMetrics(metrics => metrics.AddMeter(Meters).AddOtlpExporter());
        return services;
    }

    /// <summary>Describes the span of each request. Put this first, so that it sees what became of the request.</summary>
    public static WebApplication UseTelemetry(this WebApplication app)
    {
        app.Use(
            async (context, next) =>
            {
                try
                {
                    await next(context);
                }
                finally
                {
                    if (context.Features.Get<IHttpActivityFeature>()?.Activity is { IsAllDataRequested: true } span)
                        Describe(span, context);
                }
            }
        );
        return app;
    }

    /// <summary>What is wrong with the settings.</summary>
    public static IEnumerable<string> Faults(IConfiguration configuration) =>
        Endpoints
            .Where(key => configuration[key] is { Length: > 0 } text && !IsEndpoint(text))
            .Select(key => $"{key}: '{configuration[key]}'; an absolute http or https URL is expected");

    private static bool IsEndpoint(string text) => Uri.TryCreate(text, UriKind.Absolute, out var url) && url.Scheme is "http" or "https";

    /// <summary>By the names of OpenTelemetry's semantic conventions for HTTP; nothing that the caller wrote.</summary>
    private static void Describe(Activity span, HttpContext context)
    {
        var method = Methods.Contains(context.Request.Method) ? context.Request.Method : "_OTHER";
        var route = (context.GetEndpoint() as RouteEndpoint)?.RoutePattern.RawText;
        var status = context.Response.StatusCode;
        span.DisplayName = route is null ? method : $"{method} {route}";
        span.SetTag("http.request.method", method);
        span.SetTag("http.route", route);
        span.SetTag("http.response.status_code", status);
        if (status < 500)
            return;
        span.SetTag("error.type", status.ToString(CultureInfo.InvariantCulture));
        span.SetStatus(ActivityStatusCode.Error);
    }
}
