using System.Buffers.Text;
using System.Globalization;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Benchmarks;

/// <summary>A client that is registered with a service of <c>Access:Mode=own</c>; its key is made anew for each run.</summary>
internal sealed class BenchmarkClient : IDisposable
{
    private const string Id = "benchmark";
    private readonly ECDsa key = ECDsa.Create(ECCurve.NamedCurves.nistP384);

    /// <summary>Registers it in a file beside a store.</summary>
    /// <param name="folder">Where the store lies.</param>
    public BenchmarkClient(string folder)
    {
        var point = key.ExportParameters(includePrivateParameters: false).Q;
        var published = new JsonObject
        {
            ["kty"] = "EC",
            ["crv"] = "P-384",
            ["kid"] = Id,
            ["alg"] = "ES384",
            ["x"] = Base64Url.EncodeToString(point.X),
            ["y"] = Base64Url.EncodeToString(point.Y),
        };
        var registered = new JsonObject
        {
            ["id"] = Id,
            ["scopes"] = new JsonArray("system/*.cruds"),
            ["keys"] = new JsonObject { ["keys"] = new JsonArray(published) },
            ["requestsPerSecond"] = 100_000,
            ["burst"] = 1_000_000,
        };
        var file = Path.Combine(folder, "clients.json");
        File.WriteAllText(file, new JsonObject { ["clients"] = new JsonArray(registered) }.ToJsonString());
        if (!OperatingSystem.IsWindows())
            File.SetUnixFileMode(file, UnixFileMode.UserRead | UnixFileMode.UserWrite);
        Settings = [("Access:Mode", "own"), ("Access:ClientsFile", file), ("Access:TokensPerMinute", "10000")];
    }

    /// <summary>The settings of the service that knows it.</summary>
    public (string Key, string Value)[] Settings { get; }

    /// <summary>An access token for everything.</summary>
    public async Task<string> Token(RunningService service)
    {
        var now = DateTimeOffset.Parse(await service.Get(LiveService.Now), CultureInfo.InvariantCulture);
        var endpoint = $"{service.Address}auth/token";
        var header = Part(
            new()
            {
                ["alg"] = "ES384",
                ["kid"] = Id,
                ["typ"] = "JWT",
            }
        );
        var claims = Part(
            new()
            {
                ["iss"] = Id,
                ["sub"] = Id,
                ["aud"] = endpoint,
                ["exp"] = now.AddMinutes(4).ToUnixTimeSeconds(),
                ["jti"] = Guid.NewGuid().ToString(),
            }
        );
        var signature = Base64Url.EncodeToString(key.SignData(Encoding.ASCII.GetBytes($"{header}.{claims}"), HashAlgorithmName.SHA384));
        using var granted = JsonDocument.Parse(
            await service.PostForm(
                "/auth/token",
                [
                    new("grant_type", "client_credentials"),
                    new("scope", "system/*.cruds"),
                    new("client_assertion_type", "urn:ietf:params:oauth:client-assertion-type:jwt-bearer"),
                    new("client_assertion", $"{header}.{claims}.{signature}"),
                ]
            )
        );
        return granted.RootElement.GetProperty("access_token").GetString()!;
    }

    /// <inheritdoc/>
    public void Dispose() => key.Dispose();

    private static string Part(JsonObject json) => Base64Url.EncodeToString(Encoding.UTF8.GetBytes(json.ToJsonString()));
}
