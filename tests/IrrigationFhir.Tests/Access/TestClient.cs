using System.Net;
using System.Net.Http.Headers;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json.Nodes;
using Microsoft.IdentityModel.Tokens;

namespace IrrigationFhir.Tests.Access;

/// <summary>
/// A client with keys that are made anew in each run. Tokens are put together and signed here by hand, so that nothing of the service's own
/// library stands between a forgery and who judges it.
/// </summary>
internal sealed class TestClient : IDisposable
{
    private readonly ECDsa _ec = ECDsa.Create(ECCurve.NamedCurves.nistP384);
    private readonly RSA _rsa = RSA.Create(2048);

    public TestClient(string id = "ward-gateway") => Id = id;

    public string Id { get; }

    public string Kid { get; } = Guid.NewGuid().ToString("N");

    /// <summary>Its public keys: <see cref="Kid"/> of ES384, and one with <c>-rsa</c> behind it of RS384.</summary>
    public JsonObject Keys => new() { ["keys"] = new JsonArray(EcKey(Kid), RsaKey($"{Kid}-rsa")) };

    public JsonObject EcKey(string kid)
    {
        var q = _ec.ExportParameters(includePrivateParameters: false).Q;
        return new()
        {
            ["kty"] = "EC",
            ["crv"] = "P-384",
            ["kid"] = kid,
            ["alg"] = "ES384",
            ["use"] = "sig",
            ["x"] = Base64UrlEncoder.Encode(q.X),
            ["y"] = Base64UrlEncoder.Encode(q.Y),
        };
    }

    public JsonObject RsaKey(string kid)
    {
        var n = _rsa.ExportParameters(includePrivateParameters: false);
        return new()
        {
            ["kty"] = "RSA",
            ["kid"] = kid,
            ["use"] = "sig",
            ["n"] = Base64UrlEncoder.Encode(n.Modulus),
            ["e"] = Base64UrlEncoder.Encode(n.Exponent),
        };
    }

    /// <summary>The secret part of its key, as it must never be published or registered.</summary>
    public JsonObject SecretKey
    {
        get
        {
            var key = EcKey(Kid);
            key["d"] = Base64UrlEncoder.Encode(_ec.ExportParameters(includePrivateParameters: true).D);
            return key;
        }
    }

    public byte[] RsaPem => Encoding.ASCII.GetBytes(_rsa.ExportSubjectPublicKeyInfoPem());

    /// <summary>Its registration.</summary>
    public JsonObject Registered(params string[] scopes) =>
        new()
        {
            ["id"] = Id,
            ["keys"] = Keys,
            ["scopes"] = new JsonArray([.. scopes.Select(scope => (JsonNode)scope)]),
        };

    public JsonObject Header(string alg = "ES384", string typ = "JWT") =>
        new()
        {
            ["alg"] = alg,
            ["kid"] = alg.StartsWith("ES", StringComparison.Ordinal) ? Kid : $"{Kid}-rsa",
            ["typ"] = typ,
        };

    /// <summary>The claims of an assertion for a token endpoint.</summary>
    public JsonObject Claims(string endpoint, DateTimeOffset now) =>
        new()
        {
            ["iss"] = Id,
            ["sub"] = Id,
            ["aud"] = endpoint,
            ["exp"] = now.AddMinutes(4).ToUnixTimeSeconds(),
            ["jti"] = Guid.NewGuid().ToString(),
        };

    /// <summary>Signs a token by the algorithm that its header names; <c>HS384</c> is keyed with the public key.</summary>
    public string Signed(JsonObject header, JsonObject claims)
    {
        var text = $"{Part(header)}.{Part(claims)}";
        var bytes = Encoding.ASCII.GetBytes(text);
        var signature = (string?)header["alg"] switch
        {
            "ES384" => _ec.SignData(bytes, HashAlgorithmName.SHA384),
            "RS384" => _rsa.SignData(bytes, HashAlgorithmName.SHA384, RSASignaturePadding.Pkcs1),
            "RS256" => _rsa.SignData(bytes, HashAlgorithmName.SHA256, RSASignaturePadding.Pkcs1),
            "PS256" => _rsa.SignData(bytes, HashAlgorithmName.SHA256, RSASignaturePadding.Pss),
            "HS384" => HMACSHA384.HashData(RsaPem, bytes),
            _ => [],
        };
        return $"{text}.{Base64UrlEncoder.Encode(signature)}";
    }

    /// <summary>A good assertion.</summary>
    public string Assertion(string endpoint, DateTimeOffset now, string alg = "ES384") => Signed(Header(alg), Claims(endpoint, now));

    public void Dispose()
    {
        _ec.Dispose();
        _rsa.Dispose();
    }

    private static string Part(JsonObject json) => Base64UrlEncoder.Encode(json.ToJsonString());
}

/// <summary>The service with <c>Access:Mode=own</c>, and clients that are registered with it.</summary>
internal sealed class GuardedService : IAsyncDisposable
{
    public const string Now = "2026-03-02T08:00:00Z";

    private GuardedService(RunningService ward, string clientsFile) => (Ward, ClientsFile) = (ward, clientsFile);

    public RunningService Ward { get; }

    public string ClientsFile { get; }

    public string Root => Ward.Http.BaseAddress!.ToString().TrimEnd('/');

    public string Endpoint => $"{Root}/auth/token";

    public string Base => $"{Root}/fhir";

    public DateTimeOffset Time => Ward.Clock.GetUtcNow();

    /// <summary>Starts it.</summary>
    public static GuardedService Start(JsonNode[] clients, params (string Key, string Value)[] settings) => Start(null, clients, settings);

    /// <summary>Starts it over a store that is there.</summary>
    public static GuardedService Start(string? folder, JsonNode[] clients, params (string Key, string Value)[] settings)
    {
        var file = Path.Combine(Directory.CreateTempSubdirectory("clients-").FullName, "clients.json");
        File.WriteAllText(file, ClientsIn(clients));
        var ward = RunningService.Start(
            Now,
            folder,
            [("Access:Mode", "own"), ("Access:ClientsFile", file), ("Access:TokensPerMinute", "10000"), .. settings]
        );
        return new(ward, file);
    }

    public static string ClientsIn(params JsonNode[] clients) =>
        new JsonObject { ["clients"] = new JsonArray([.. clients.Select(client => client.DeepClone())]) }.ToJsonString();

    /// <summary>Writes the file anew, and lets so much time pass that it is looked at.</summary>
    public void Register(params JsonNode[] clients) => Write(ClientsIn(clients));

    public void Write(string text)
    {
        File.WriteAllText(ClientsFile, text);
        File.SetLastWriteTimeUtc(ClientsFile, DateTime.UtcNow.AddSeconds(1));
        Ward.Clock.Advance(TimeSpan.FromSeconds(3));
    }

    /// <summary>Asks for a token with a form.</summary>
    public async Task<Reply> Ask(params (string Name, string Value)[] form)
    {
        using var body = new FormUrlEncodedContent(form.Select(pair => KeyValuePair.Create(pair.Name, pair.Value)));
        using var response = await Ward.Http.PostAsync(new Uri("/auth/token", UriKind.Relative), body);
        return await Reply.Of(response);
    }

    /// <summary>Asks for a token with an assertion.</summary>
    public Task<Reply> Ask(string assertion, string scope = "system/Observation.rs") =>
        Ask(
            ("grant_type", "client_credentials"),
            ("scope", scope),
            ("client_assertion_type", "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"),
            ("client_assertion", assertion)
        );

    /// <summary>A token that must be given.</summary>
    public async Task<string> Token(TestClient client, string scope = "system/Observation.rs")
    {
        var reply = await Ask(client.Assertion(Endpoint, Time), scope);
        Assert.True(reply.Status == HttpStatusCode.OK, reply.Text);
        return (string)reply.Json["access_token"]!;
    }

    /// <summary>Gets something with a token.</summary>
    public async Task<HttpResponseMessage> Get(string address, string? token, string scheme = "Bearer")
    {
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri(address, UriKind.Relative));
        if (token is not null)
            request.Headers.Authorization = new AuthenticationHeaderValue(scheme, token);
        return await Ward.Http.SendAsync(request);
    }

    public async ValueTask DisposeAsync()
    {
        await Ward.DisposeAsync();
        Directory.Delete(Path.GetDirectoryName(ClientsFile)!, recursive: true);
    }
}
