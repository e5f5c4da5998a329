using IrrigationFhir.Access;
using Scalar.AspNetCore;

namespace IrrigationFhir.Rest;

/// <summary>Where somebody new comes in: a page of what there is at <c>/</c>, and both contracts to read and try at <c>/docs</c>.</summary>
/// <remarks>
/// Nothing is fetched from elsewhere: script and style of the reference lie in its package, its fonts, its counting and its
/// assistant are off, and the pages' policy forbids the browser every other host.
/// </remarks>
internal static class StartPage
{
    /// <summary>Scalar writes its configuration and its styles into the page, hence <c>unsafe-inline</c>.</summary>
    private const string Policy =
        "default-src 'self'; script-src 'self' 'unsafe-inline'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; "
        + "font-src 'self' data:; connect-src 'self'; object-src 'none'; base-uri 'self'; frame-ancestors 'none'";

    // Addresses are relative: a proxy may put the service below a path.
    private const string Html = """
        <!doctype html>
        <html lang="en">
        <head>
        <meta charset="utf-8">
        <meta name="viewport" content="width=device-width">
        <title>IrrigationFhir</title>
        <link rel="icon" href="data:,">
        <style>
        body {
            font: 1rem/1.5 system-ui, sans-serif; max-width: 44rem; margin: 2rem auto; padding: 0 1rem;
            color: #1a1a1a; background: #fff;
        }
        dt { margin-top: .8rem; font-weight: 600 }
        dd { margin: 0 }
        code { background: #f2f2f2; padding: 0 .2rem }
        .caution { border-left: .25rem solid #b35900; padding-left: .8rem }
        </style>
        </head>
        <body>
        <main>
        <h1>IrrigationFhir</h1>
        <p>Intake and output of an irrigated bladder in, corrected urine output with its uncertainty out, as FHIR R4.</p>
        <p class="caution">CAUTION</p>
        <dl>
        <dt><a href="docs/">Reference of both APIs</a></dt>
        <dd>To read and to try. The documents:
            <a href="openapi/irrigationfhir.json">JSON API</a>, <a href="openapi/fhir.json">FHIR API</a>.</dd>
        <dt><a href="ward">The ward now</a></dt>
        <dd>Open irrigations, by who needs a person first. <a href="episodes?status=open">Episodes</a> opens them in pages.</dd>
        <dt><a href="fhir/metadata">CapabilityStatement</a></dt>
        <dd>What the FHIR API below <code>/fhir</code> can do; <a href="fhir/package.tgz">the package</a> of what defines it.</dd>
        <dt><a href="settings">Settings</a></dt>
        <dd>What the numbers rest on, each with its source.</dd>
        <dt><a href="drip-rate?dropFactor=20&amp;volume=1000%20mL&amp;time=8h">Drip rate</a></dt>
        <dd>Drops a minute at a gravity line, without any episode.</dd>
        <dt><a href="health/ready">Ready</a></dt>
        <dd>Whether it can work, and what waits; <a href="metrics">metrics</a>.</dd>
        </dl>
        </main>
        </body>
        </html>

        """;

    /// <summary>Maps both.</summary>
    public static void MapStartPage(this IEndpointRouteBuilder app)
    {
        var page = Html.Replace("CAUTION", System.Net.WebUtility.HtmlEncode(Texts.Caution), StringComparison.Ordinal);
        app.MapMethods(
                "/",
                [HttpMethods.Get, HttpMethods.Head],
                (HttpContext http) =>
                {
                    http.Response.Headers.ContentSecurityPolicy = Policy;
                    return Results.Text(page, "text/html", System.Text.Encoding.UTF8);
                }
            )
            .ExcludeFromDescription()
            .Needs(AccessNeeds.Nothing);
        app.MapScalarApiReference(
                "/docs",
                (options, http) =>
                {
                    http.Response.Headers.ContentSecurityPolicy = Policy;
                    options
                        .WithTitle("IrrigationFhir")
                        .DisableDefaultFonts()
                        .DisableTelemetry()
                        .DisableAgent()
                        .DisableMcp()
                        .HideDeveloperTools()
                        .HideClientButton()
                        .AddDocument("irrigationfhir", "JSON API", "/openapi/irrigationfhir.json", isDefault: true)
                        .AddDocument("fhir", "FHIR R4 API", "/openapi/fhir.json");
                }
            )
            .ExcludeFromDescription()
            .Needs(AccessNeeds.Nothing);
    }
}
