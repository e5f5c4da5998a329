using System.Text.Json;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;

namespace IrrigationFhir.Tokens;

/// <summary>Tells clients how to come by a token: <c>.well-known/smart-configuration</c> (SMART App Launch 2.2).</summary>
internal sealed class SmartConfiguration(AccessSettings settings, FhirSettings fhir, IssuerOfSite issuer)
{
    /// <summary>What it says of the scopes; a client is granted what it is registered for.</summary>
    private static readonly string[] Scopes = ["system/*.cruds", "system/*.rs", "system/Observation.cruds", "system/Observation.rs"];

    /// <summary>What of the issuer's own description is told on.</summary>
    private static readonly string[] OfIssuer =
    [
        "token_endpoint",
        "grant_types_supported",
        "token_endpoint_auth_methods_supported",
        "token_endpoint_auth_signing_alg_values_supported",
        "introspection_endpoint",
        "revocation_endpoint",
    ];

    /// <summary>The document; of an open service there is none, for a client that finds one would look for a token.</summary>
    public async Task<IResult> Answer(HttpContext http) =>
        settings.Mode switch
        {
            AccessMode.Open => new OutcomeResult(
                StatusCodes.Status404NotFound,
                Outcome.Problem("unknown-address", "an open service, which asks for no token", "requests without Authorization", null)
            ),
            AccessMode.Own => Results.Json(Own(http.Request)),
            AccessMode.Tokens => Results.Json(await OfSite(http.RequestAborted)),
        };

    private JsonObject Own(HttpRequest request) =>
        new()
        {
            ["issuer"] = Addresses.Issuer(request, fhir),
            ["jwks_uri"] = Addresses.Issuer(request, fhir) + Addresses.KeysPath,
            ["token_endpoint"] = Addresses.Token(request, fhir),
            ["token_endpoint_auth_methods_supported"] = new JsonArray("private_key_jwt"),
            ["token_endpoint_auth_signing_alg_values_supported"] = List(ClientAssertions.Algorithms),
            ["grant_types_supported"] = new JsonArray("client_credentials"),
            ["scopes_supported"] = List(Scopes),
            ["code_challenge_methods_supported"] = new JsonArray("S256"),
            ["capabilities"] = new JsonArray("client-confidential-asymmetric", "permission-v2", "permission-v1"),
        };

    private async Task<JsonObject> OfSite(CancellationToken stop)
    {
        var says = (await issuer.Discover(stop))?.Document;
        var document = new JsonObject { ["issuer"] = settings.Issuer };
        foreach (var name in OfIssuer)
        {
            if (says is { } known && known.TryGetProperty(name, out var value))
                document[name] = JsonNode.Parse(value.GetRawText());
        }

        document["scopes_supported"] = List(Scopes);
        document["code_challenge_methods_supported"] = new JsonArray("S256");
        var byKey =
            says is { } one
            && one.TryGetProperty("token_endpoint_auth_methods_supported", out var methods)
            && methods.ValueKind == JsonValueKind.Array
            && methods.EnumerateArray().Any(method => method.ValueKind == JsonValueKind.String && method.GetString() == "private_key_jwt");
        document["capabilities"] = List([
            .. byKey ? ["client-confidential-asymmetric"] : Array.Empty<string>(),
            "permission-v2",
            "permission-v1",
        ]);
        return document;
    }

    private static JsonArray List(IEnumerable<string> texts) => new([.. texts.Select(text => (JsonNode)text)]);
}
