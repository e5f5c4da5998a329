using System.ComponentModel.DataAnnotations;
using System.Globalization;
using System.Reflection;
using System.Text;
using System.Text.Json.Nodes;
using System.Text.Json.Serialization;
using Irrigation;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using Microsoft.AspNetCore.OpenApi;
using Microsoft.OpenApi;

namespace IrrigationFhir.Rest;

/// <summary>The words that a property of the contract may hold: the slugs of an enumeration.</summary>
[AttributeUsage(AttributeTargets.Property)]
internal sealed class WordsOfAttribute(Type enumeration) : Attribute
{
    /// <summary>The words, in the enumeration's order.</summary>
    public IEnumerable<string> Words => Enum.GetNames(enumeration).Select(Slug.Of);
}

/// <summary>The OpenAPI contract of the JSON API.</summary>
/// <remarks>
/// Examples lie in <c>openapi/examples</c>, named by operation: <c>&lt;operationId&gt;.request.json</c>, <c>.request.ndjson</c>,
/// <c>.&lt;status&gt;.json</c>. A new file there is in the contract after the next build.
/// </remarks>
internal static class Contract
{
    /// <summary>What 422 says in both APIs.</summary>
    public const string Unprocessable =
        "Readable, and refused: every problem is named, each with a stable code in `details.coding`, its place in `expression`, "
        + "and what was seen and what is expected in `diagnostics`. Nothing was changed.";

    private const OpenApiSpecVersion Version = OpenApiSpecVersion.OpenApi3_1;
    private const string Examples = "Contract/";
    private const string ThisHostSays =
        "The host that serves this document. It asks for no credentials: put it behind a gateway that does.";

    /// <summary>What each tag gathers; a tag that is not here fails <c>openapi/lint.sh</c>.</summary>
    private static readonly Dictionary<string, string> Tags = new()
    {
        ["Entries"] = "What happened at the bedside: recorded, amended, withdrawn, and the log of it all.",
        ["Episodes"] = "One irrigation of one patient, and the balance of its log.",
        ["Drip"] = "The sum that is done at every gravity line.",
        ["Settings"] = "What the arithmetic rests on.",
    };

    /// <summary>What a status says in this API, whatever the route.</summary>
    private static readonly Dictionary<string, string> Refusals = new()
    {
        ["400"] = "The request as a whole cannot be read. Nothing was changed.",
        ["404"] = "There is no such episode.",
        ["409"] = "It contradicts what is recorded. Nothing was changed.",
        ["413"] = "The body is larger, or holds more entries, than is taken in one request. Nothing was changed.",
        ["415"] = "A media type that this address does not read. Nothing was changed.",
        ["422"] = Unprocessable,
    };

    /// <summary>Whether this process is the build that writes the document, and not a service.</summary>
    private static bool IsBeingWritten => Assembly.GetEntryAssembly()?.GetName().Name == "GetDocument.Insider";

    /// <summary>Adds the document. Put it last: while the build writes the document, nothing that was added before is started.</summary>
    public static IServiceCollection AddContract(this IServiceCollection services)
    {
        if (IsBeingWritten)
        {
            foreach (
                var started in services
                    .Where(s => s.ServiceType == typeof(IHostedService) && s.ImplementationType?.Assembly == typeof(Contract).Assembly)
                    .ToList()
            )
                services.Remove(started);
        }

        // Numbers are numbers: the reader refuses "250", so the contract must not offer it.
        services.ConfigureHttpJsonOptions(json => json.SerializerOptions.NumberHandling = JsonNumberHandling.Strict);
        return services.AddOpenApi(options =>
        {
            options.OpenApiVersion = Version;
            options.AddDocumentTransformer(Describe);
            options.AddOperationTransformer(Describe);
            options.AddSchemaTransformer(Words);
        });
    }

    /// <summary>Maps <c>/openapi/irrigationfhir.json</c>, and that of the FHIR API.</summary>
    public static void MapContract(this IEndpointRouteBuilder app)
    {
        app.MapOpenApi("/openapi/irrigationfhir.json").Needs(AccessNeeds.Nothing);
        app.MapGet(
                "/openapi/fhir.json",
                async (HttpContext http, CapabilityStatements statements, Vocabulary vocabulary) =>
                {
                    var contract = FhirContract.Of(statements.For(http.Request), vocabulary.Profiles);
                    var json = await contract.SerializeAsJsonAsync(Version, http.RequestAborted);
                    return Results.Text(json, "application/json", Encoding.UTF8);
                }
            )
            .ExcludeFromDescription()
            .Needs(AccessNeeds.Nothing);
    }

    /// <summary>Where the API of a document is: beside the document, wherever a site puts it.</summary>
    public static List<OpenApiServer> ThisHost() => [new() { Url = "/", Description = ThisHostSays }];

    /// <summary>Says in the contract what a route answers, and when.</summary>
    public static RouteHandlerBuilder Answers<T>(
        this RouteHandlerBuilder route,
        int status,
        string says,
        string media = "application/json",
        params string[] otherMedia
    ) =>
        route
            .Produces<T>(status, media, otherMedia)
            .AddOpenApiOperationTransformer(
                (operation, _, _) =>
                {
                    operation.Responses![status.ToString(CultureInfo.InvariantCulture)].Description = says;
                    return Task.CompletedTask;
                }
            );

    /// <summary>Documents the header with which a sender chooses that what can be recorded is recorded.</summary>
    public static RouteHandlerBuilder PrefersHandling(this RouteHandlerBuilder route) =>
        route.AddOpenApiOperationTransformer(
            (operation, _, _) =>
            {
                operation.Parameters =
                [
                    .. operation.Parameters ?? [],
                    new OpenApiParameter
                    {
                        Name = "Prefer",
                        In = ParameterLocation.Header,
                        Description =
                            "`handling=lenient` records the entries that can be recorded and refuses the others one by one; "
                            + "without it all are recorded or none (RFC 7240).",
                        Schema = new OpenApiSchema
                        {
                            Type = JsonSchemaType.String,
                            Enum = ["handling=lenient", "handling=strict"],
                            Default = "handling=strict",
                        },
                    },
                ];
                return Task.CompletedTask;
            }
        );

    /// <summary>Says that the JSON body is one object or a list of them, and that the other is text of a line each.</summary>
    public static RouteHandlerBuilder AcceptsOneOrMany(this RouteHandlerBuilder route) =>
        route.AddOpenApiOperationTransformer(
            (operation, _, _) =>
            {
                if (operation.RequestBody?.Content?.TryGetValue("application/json", out var body) is true && body.Schema is { } one)
                {
                    body.Schema = new OpenApiSchema { OneOf = [one, new OpenApiSchema { Type = JsonSchemaType.Array, Items = one }] };
                }

                // OpenAPI 3.1 has no word for a sequence of documents: to a tool, these lines are text.
                if (operation.RequestBody?.Content?.TryGetValue("application/x-ndjson", out var lines) is true)
                {
                    lines.Schema = new OpenApiSchema
                    {
                        Type = JsonSchemaType.String,
                        Description = "One entry a line, each as the JSON body has it.",
                    };
                }

                return Task.CompletedTask;
            }
        );

    private static Task Describe(OpenApiDocument document, OpenApiDocumentTransformerContext context, CancellationToken stop)
    {
        document.Info = new()
        {
            Title = "IrrigationFhir",
            Version = "1",
            Description =
                "Corrected urine output under bladder irrigation: entries in, balance and profile-validated FHIR R4 out. "
                + "Every error is a FHIR OperationOutcome, and a refused request changes nothing. "
                + "The FHIR API under /fhir describes itself at /fhir/metadata, and in /openapi/fhir.json; "
                + "an Observation posted there becomes an entry of the episode of its patient (by identifier) whose time covers it, "
                + "of several of the one of its encounter, and is refused where there is none. "
                + Texts.Caution,
        };
        document.Servers = ThisHost();
        document.Security = [new()]; // an empty requirement: nothing is asked for
        foreach (var tag in document.Tags ?? new HashSet<OpenApiTag>())
            tag.Description = Tags.GetValueOrDefault(tag.Name!);
        return Task.CompletedTask;
    }

    private static Task Describe(OpenApiOperation operation, OpenApiOperationTransformerContext context, CancellationToken stop)
    {
        foreach (var (media, body) in operation.RequestBody?.Content ?? new Dictionary<string, OpenApiMediaType>())
        {
            body.Example = Example(
                $"{operation.OperationId}.request.{(media.EndsWith("ndjson", StringComparison.Ordinal) ? "ndjson" : "json")}"
            );
        }

        foreach (var (status, response) in operation.Responses ?? [])
        {
            if (Refusals.TryGetValue(status, out var says))
                response.Description = says;
            foreach (var (media, body) in response.Content ?? new Dictionary<string, OpenApiMediaType>())
            {
                body.Example = Example(
                    $"{operation.OperationId}.{status}.{(media.StartsWith("text/", StringComparison.Ordinal) ? "txt" : "json")}"
                );
            }
        }

        return Task.CompletedTask;
    }

    private static JsonNode? Example(string name)
    {
        using var stream = typeof(Contract).Assembly.GetManifestResourceStream(Examples + name);
        if (stream is null)
            return null;
        using var text = new StreamReader(stream);
        return name.EndsWith(".ndjson", StringComparison.Ordinal) || name.EndsWith(".txt", StringComparison.Ordinal)
            ? text.ReadToEnd()
            : JsonNode.Parse(text.ReadToEnd());
    }

    private static Task Words(OpenApiSchema schema, OpenApiSchemaTransformerContext context, CancellationToken stop)
    {
        var about = context.JsonPropertyInfo?.AttributeProvider?.GetCustomAttributes(inherit: false) ?? [];
        var words = about
            .OfType<WordsOfAttribute>()
            .SelectMany(a => a.Words)
            .Concat(
                about
                    .OfType<AllowedValuesAttribute>()
                    .SelectMany(a => a.Values.Select(v => Convert.ToString(v, CultureInfo.InvariantCulture)!))
            )
            .ToList();
        // A documentation comment is wrapped where its source is.
        if (schema.Description is { } said)
            schema.Description = string.Join(' ', said.Split('\n', StringSplitOptions.TrimEntries));
        if (words.Count > 0)
            schema.Enum = [.. words.Select(word => JsonValue.Create(word))];
        if (context.JsonTypeInfo.UnmappedMemberHandling == JsonUnmappedMemberHandling.Disallow)
            schema.AdditionalPropertiesAllowed = false;
        return Task.CompletedTask;
    }
}
