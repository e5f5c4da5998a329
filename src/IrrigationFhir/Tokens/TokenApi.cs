using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using IrrigationFhir.Rest;
using Microsoft.AspNetCore.Http.Features;
using Microsoft.IdentityModel.JsonWebTokens;
using Microsoft.IdentityModel.Tokens;

namespace IrrigationFhir.Tokens;

/// <summary>Issues access tokens to registered clients (SMART Backend Services; OAuth 2.0, RFC 6749, section 4.4).</summary>
internal sealed class TokenApi(
    ClientAssertions assertions,
    SigningKeys keys,
    AccessSettings settings,
    FhirSettings fhir,
    AccessLimits limits,
    IAudit audit,
    TimeProvider clock
)
{
    /// <summary>The kind of assertion that is taken.</summary>
    public const string AssertionType = "urn:ietf:params:oauth:client-assertion-type:jwt-bearer";

    /// <summary>The media type of an access token (RFC 9068).</summary>
    public const string TokenType = "at+jwt";

    /// <summary>Characters of the scopes of one token: more would not fit into the headers of a request.</summary>
    private const int MostScope = 3000;

    private static readonly JsonWebTokenHandler Handler = new() { SetDefaultTimesOnTokenCreation = false };

    /// <summary>Answers a request for a token.</summary>
    public async Task<IResult> Issue(HttpContext http)
    {
        http.Response.Headers.CacheControl = "no-store";
        http.Response.Headers.Pragma = "no-cache";
        var stop = http.RequestAborted;
        if (await Form(http) is not { } form || Repeats(form))
            return Refuse("invalid_request", "a form is expected, application/x-www-form-urlencoded, each parameter once");
        if (Only(form, "grant_type") is not { } grant)
            return Refuse("invalid_request", "grant_type is missing");
        if (grant != "client_credentials")
            return Refuse("unsupported_grant_type", "client_credentials is expected");
        if (Only(form, "client_assertion_type") != AssertionType || Only(form, "client_assertion") is not { } assertion)
            return Refuse("invalid_request", $"client_assertion is expected, and client_assertion_type {AssertionType}");
        if (Only(form, "scope") is not { } asked)
            return Refuse("invalid_request", "scope is missing");
        if (await assertions.Judge(assertion, Addresses.Token(http.Request, fhir), stop) is not { } client)
        {
            if (limits.IsOneTooMany(http))
            {
                audit.Refused(http, StatusCodes.Status429TooManyRequests, AccessLimits.Code);
                return AccessLimits.TooMany(http);
            }

            audit.Refused(http, StatusCodes.Status401Unauthorized, "assertion-not-accepted");
            return Refuse("invalid_client", "the client assertion is not accepted");
        }

        if (limits.TakeToken(client) is { } wait)
        {
            audit.Refused(http, StatusCodes.Status429TooManyRequests, AccessLimits.Code);
            return AccessLimits.TooMany(http, wait, "more access tokens than a client gets in a minute");
        }

        var scope = Granted(client, asked);
        if (scope.Length is 0 or > MostScope)
            return Refuse("invalid_scope", "nothing of it is granted to this client, or more than one token can hold");
        return Results.Json(
            new JsonObject
            {
                ["access_token"] = await Token(http.Request, client.Id, scope, stop),
                ["token_type"] = "bearer",
                ["expires_in"] = settings.TokenSeconds,
                ["scope"] = scope,
            }
        );
    }

    /// <summary>The keys that tokens are signed with, and the one that comes next, as a JWK set.</summary>
    public async Task<IResult> Keys(HttpContext http)
    {
        http.Response.Headers.CacheControl = "max-age=300";
        var live = await keys.Live(http.RequestAborted);
        return Results.Json(
            new JsonObject
            {
                ["keys"] = new JsonArray([
                    .. live.Published.Select(key => new JsonObject
                    {
                        ["kty"] = key.Kty,
                        ["crv"] = key.Crv,
                        ["kid"] = key.Kid,
                        ["use"] = key.Use,
                        ["alg"] = key.Alg,
                        ["x"] = key.X,
                        ["y"] = key.Y,
                    }),
                ]),
            }
        );
    }

    /// <summary>What is granted, as the client asked for it where that is granted wholly.</summary>
    private static string Granted(Registration client, string asked)
    {
        var granted = new List<string>();
        foreach (var text in asked.Split(' ', StringSplitOptions.RemoveEmptyEntries))
        {
            if (Scope.Parse(text) is not { } one)
                continue;
            var part = client.Granted([one]);
            granted.AddRange(part is [var whole] && whole.ToString() == one.ToString() ? [text] : part.Select(scope => scope.ToString()));
        }

        return string.Join(' ', granted.Distinct());
    }

    private async Task<string> Token(HttpRequest request, string client, string scope, CancellationToken stop)
    {
        var live = await keys.Live(stop);
        var now = clock.GetUtcNow();
        var claims = new Dictionary<string, object>
        {
            ["iss"] = Addresses.Issuer(request, fhir),
            ["sub"] = client,
            ["client_id"] = client,
            ["aud"] = settings.Audience ?? FhirBase.Of(request, fhir),
            ["iat"] = now.ToUnixTimeSeconds(),
            ["exp"] = now.ToUnixTimeSeconds() + settings.TokenSeconds,
            ["jti"] = Guid.NewGuid().ToString("N"),
            ["scope"] = scope,
        };
        return Handler.CreateToken(
            new SecurityTokenDescriptor
            {
                TokenType = TokenType,
                Claims = claims,
                SigningCredentials = new(live.Signing, SecurityAlgorithms.EcdsaSha384),
            }
        );
    }

    private static async Task<IFormCollection?> Form(HttpContext http)
    {
        if (BodyMediaType.Of(http.Request) != "application/x-www-form-urlencoded")
            return null;
        try
        {
            return await http.Request.ReadFormAsync(new FormOptions { ValueCountLimit = 32 }, http.RequestAborted);
        }
        catch (InvalidDataException)
        {
            return null;
        }
    }

    private static bool Repeats(IFormCollection form) => form.Any(parameter => parameter.Value.Count > 1);

    private static string? Only(IFormCollection form, string name) => form[name] is [{ Length: > 0 } value] ? value : null;

    private static IResult Refuse(string error, string says) =>
        Results.Json(new JsonObject { ["error"] = error, ["error_description"] = says }, statusCode: StatusCodes.Status400BadRequest);
}
