using System.Net;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Access;

/// <summary>Who is registered: a file that is re-read, and kept as it was where it cannot be used (R-ACC-23, R-ACC-28).</summary>
public sealed class ClientsFileTests : IDisposable
{
    private static readonly AccessSettings Settings = new() { Mode = AccessMode.Own, Facilities = ["north", "south"] };

    private const string Members = "id, enabled, keys, keysAt, scopes, facilities, audit, requestsPerSecond, burst, certificates, note";

    private readonly string _folder = Directory.CreateTempSubdirectory("clients-").FullName;

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    [Fact]
    public void Every_fault_is_named_at_once_and_no_key_is_repeated()
    {
        using var client = new TestClient();
        var secret = client.SecretKey;
        var faults = Faults(
            $$"""
            { "clients": [
              { "id": "a b", "keys": { "keys": [] } },
              { "id": "one", "keys": {{client.Keys}},
                "scopes": ["patient/*.rs", "system/Observation.rs?date=2026", "system/Observation.dus"] },
              { "id": "two", "scopes": "system/*.rs", "keys": { "keys": [
                {{secret}},
                { "kty": "oct", "kid": "s", "k": "c2VjcmV0" },
                { "kty": "RSA", "kid": "r", "n": "AQAB", "e": "AQAB" },
                { "kty": "EC", "kid": "e", "crv": "P-384", "x": "AA", "y": "AA" },
                { "kty": "EC" }] } },
              { "id": "three", "scopes": [], "keysAt": "http://keys.example/jwks" },
              { "id": "four", "scopes": [], "keys": [], "keysAt": "https://keys.example/jwks", "rate": 5 },
              { "id": "five" },
              { "id": "five", "scopes": [], "certificates": ["AB"], "facilities": ["west"],
                "enabled": "no", "requestsPerSecond": 0, "audit": 1 },
              7
            ] }
            """
        );
        string[] expected =
        [
            "clients[0].id: 1 to 128 letters, digits or one of . _ : / - are expected, and not local",
            "clients[1].scopes: 'patient/*.rs'; a scope such as system/Observation.rs is expected",
            "clients[1].scopes: 'system/Observation.rs?date=2026'; a query by category, code, patient.identifier, status alone is expected",
            "clients[1].scopes: 'system/Observation.dus'; a scope such as system/Observation.rs is expected",
            "clients[2].keys.keys[0]: a secret key; its public part alone is expected",
            "clients[2].keys.keys[1]: a secret key; its public part alone is expected",
            "clients[2].keys.keys[2]: 2048 to 8192 bits are expected",
            "clients[2].keys.keys[3]: x and y of the length of the curve are expected",
            "clients[2].keys.keys[4]: kid is missing",
            "clients[2].scopes: a list of texts is expected",
            "clients[3].keysAt: an absolute https address is expected",
            $"clients[4].rate: not known; a client has {Members}",
            "clients[4].keys: an object whose keys are a list of at most 100 is expected",
            "clients[5]: keys, keysAt or certificates are expected",
            "clients[5].scopes: missing",
            "clients[6].enabled: true or false is expected",
            "clients[6].facilities: 'west'; one of Access:Facilities is expected",
            "clients[6].audit: true or false is expected",
            "clients[6].requestsPerSecond: 1 to 100000 is expected",
            "clients[6].certificates: the SHA-256 of a certificate, 64 hexadecimal digits, is expected; or dns: or uri: and a name of it",
            "clients[7]: an object is expected",
            "id 'five': twice",
        ];
        Assert.Equal(expected.Order(StringComparer.Ordinal), faults.Order(StringComparer.Ordinal));
        Assert.DoesNotContain((string)secret["d"]!, string.Concat(faults), StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("{", "no well-formed JSON, in line 1")]
    [InlineData("[]", "an object whose clients are a list is expected")]
    [InlineData("{\"clients\": {}}", "an object whose clients are a list is expected")]
    public void A_file_that_is_something_else_is_refused(string text, string says) => Assert.Equal([says], Faults(text));

    [Fact]
    public void A_file_that_is_not_there_is_a_fault_of_the_settings_with_all_others()
    {
        var faults = Assert.Throws<SettingsFault>(() => Registrations.Read(Path.Combine(_folder, "none.json"), Settings));
        Assert.EndsWith("none.json: it cannot be read (FileNotFoundException)", faults.Message, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_start_with_a_faulty_file_names_all_that_is_wrong_and_ends_with_2()
    {
        await File.WriteAllTextAsync(
            Path.Combine(_folder, "clients.json"),
            """{ "clients": [ { "id": "one" }, { "id": "one", "x": 1 } ] }"""
        );
        var (code, output, errors) = await ProgramProcess.Run(
            _folder,
            "--Access:Mode=own",
            "--Access:ClientsFile=clients.json",
            "--Fhir:BaseUrl=https://ward.example/api",
            "--AllowedHosts=*",
            "--Access:TokenSeconds=301",
            "--Access:KeyFile=none.key"
        );
        Assert.Equal((2, ""), (code, output));
        Assert.Equal(
            """
            Fhir:BaseUrl: 'https://ward.example/api'; with Access:Mode=own an address that ends with /fhir is expected
            Access:KeyFile: 'none.key' cannot be read (FileNotFoundException)
            Access:TokenSeconds: 301; 30 to 300 is expected
            Access:ClientsFile: clients.json: clients[0]: keys, keysAt or certificates are expected
            Access:ClientsFile: clients.json: clients[0].scopes: missing
            Access:ClientsFile: clients.json: clients[1].x: not known; a client has $members
            Access:ClientsFile: clients.json: clients[1]: keys, keysAt or certificates are expected
            Access:ClientsFile: clients.json: clients[1].scopes: missing
            Access:ClientsFile: clients.json: id 'one': twice

            """.ReplaceLineEndings("\n").Replace("$members", Members, StringComparison.Ordinal),
            errors
        );
    }

    // The public key of RFC 7517, appendix A.1; its secret part stands in appendix A.2, so that anybody can sign with it.
    [Fact]
    public void The_key_of_a_published_example_is_refused()
    {
        const string N =
            "0vx7agoebGcQSuuPiLJXZptN9nndrQmbXEps2aiAFbWhM78LhWx4cbbfAAtVT86zwu1RK7aPFFxuhDR1L6tSoc_BJECPebWKRXjBZCiFV4n3oknjhMst"
            + "n64tZ_2W-5JsGY4Hc5n9yBXArwl93lqt7_RN5w6Cf0h4QyQ5v-65YGjQR0_FDW2QvzqY368QQMicAtaSqzs8KJZgnYb9c7d0zgdAZHzu6qMQvRL5ha"
            + "jrn1n91CbOpbISD08qNLyrdkt-bFTWhAI4vMQFh6WeZu0fM4lFd2NcRwr3XPksINHaQ-G_xBniIqbw0Ls1jF44-csFCur-kEgU8awapJzKnqDKgw";
        Assert.Equal(
            ["clients[0].keys.keys[0]: the key of a published example: anybody can sign with it"],
            Faults(
                $$"""
                { "clients": [ { "id": "one", "scopes": [], "keys": { "keys": [
                  { "kty": "RSA", "kid": "2011-04-29", "n": "{{N}}", "e": "AQAB" }] } } ] }
                """
            )
        );
    }

    // R-ACC-28
    [SkippableFact]
    public void Keys_in_a_file_that_others_may_write_are_nobodys()
    {
        Skip.If(OperatingSystem.IsWindows(), "files have no mode there");
        using var client = new TestClient();
        var file = Written(GuardedService.ClientsIn(client.Registered("system/*.rs")));
        const UnixFileMode Owner = UnixFileMode.UserRead | UnixFileMode.UserWrite | UnixFileMode.GroupRead | UnixFileMode.OtherRead;
        UnixMode.Set(file, Owner);
        Assert.Single(Registrations.Read(file, Settings).All);
        foreach (var more in new[] { UnixFileMode.GroupWrite, UnixFileMode.OtherWrite })
        {
            UnixMode.Set(file, Owner | more);
            var fault = Assert.Throws<SettingsFault>(() => Registrations.Read(file, Settings));
            Assert.Contains("others than its owner may write it", fault.Message, StringComparison.Ordinal);
        }

        // Without keys of its own it shields nothing.
        var addressed = Written("""{ "clients": [ { "id": "one", "scopes": [], "keysAt": "https://keys.example/jwks" } ] }""");
        UnixMode.Set(addressed, Owner | UnixFileMode.GroupWrite);
        Assert.Single(Registrations.Read(addressed, Settings).All);
    }

    [Fact]
    public async Task A_change_is_in_force_at_once_and_also_for_tokens_that_are_out()
    {
        using var client = new TestClient();
        using var other = new TestClient("night-reader");
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")]);
        var token = await service.Token(client, "system/Observation.rs system/Flag.rs");
        Assert.Equal(2, (await TokenEndpointTests.Judge(service, token)).Caller!.Scopes.Count);
        Assert.Equal(HttpStatusCode.BadRequest, (await service.Ask(other.Assertion(service.Endpoint, service.Time))).Status);

        service.Register(client.Registered("system/Flag.rs"), other.Registered("system/*.r"));
        Assert.Equal(["system/Flag.rs"], (await TokenEndpointTests.Judge(service, token)).Caller!.Scopes.Select(scope => scope.ToString()));
        await service.Token(other);

        var disabled = client.Registered("system/Flag.rs");
        disabled["enabled"] = false;
        service.Register(disabled, other.Registered("system/*.r"));
        Assert.Equal((null, "not-authenticated"), await TokenEndpointTests.Judge(service, token));
        Assert.Equal(HttpStatusCode.BadRequest, (await service.Ask(client.Assertion(service.Endpoint, service.Time))).Status);
    }

    [Fact]
    public async Task A_file_that_became_faulty_or_went_leaves_the_last_in_force_and_is_told()
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.cruds")]);
        async Task Told(string status, int faults)
        {
            var check = (await service.Ward.Read("/health/ready"))["checks"]!["clients"]!;
            Assert.Equal(
                (status, faults, 1),
                ((string)check["status"]!, (int)check["data"]!["faults"]!, (int)check["data"]!["registered"]!)
            );
            using var response = await service.Get("/metrics", await service.Token(client, "system/*.cruds"));
            var metrics = await response.Content.ReadAsStringAsync();
            Assert.Contains($"irrigationfhir_clients_faults {faults}\n", metrics, StringComparison.Ordinal);
            Assert.Contains("irrigationfhir_clients_registered 1\n", metrics, StringComparison.Ordinal);
        }

        await Told("ready", 0);
        service.Write("""{ "clients": [ { "id": "one" } ] }""");
        await Told("degraded", 2);
        await service.Token(client);

        File.Delete(service.ClientsFile);
        service.Ward.Clock.Advance(TimeSpan.FromSeconds(3));
        await Told("degraded", 1);
        await service.Token(client);

        service.Register(client.Registered("system/Flag.r"));
        await Told("ready", 0);
        Assert.Equal(
            "system/Flag.r",
            (string)(await service.Ask(client.Assertion(service.Endpoint, service.Time), "system/*.rs")).Json["scope"]!
        );
    }

    // R-ACC-23, R-ACC-24
    [Fact]
    public async Task Keys_may_stand_at_an_address_and_are_found_anew_when_they_change()
    {
        using var client = new TestClient();
        using var next = new TestClient();
        await using var keys = await TestIssuer.Start();
        keys.Keys = client.Keys;
        var address = $"{keys.Address}/jwks";
        await using var service = GuardedService.Start(
            [
                new JsonObject
                {
                    ["id"] = client.Id,
                    ["keysAt"] = address,
                    ["scopes"] = new JsonArray("system/*.rs"),
                },
            ],
            ("Access:AllowLoopback", "true"),
            ("Access:FailuresPerMinute", "1000")
        );
        await service.Token(client);
        await service.Token(client);
        Assert.Equal(1, keys.Fetches);

        // jku counts only if it is the registered address.
        async Task<HttpStatusCode> With(TestClient signer, string? jku)
        {
            var header = signer.Header();
            header["jku"] = jku;
            return (await service.Ask(signer.Signed(header, client.Claims(service.Endpoint, service.Time)))).Status;
        }

        Assert.Equal(HttpStatusCode.OK, await With(client, address));
        Assert.Equal(HttpStatusCode.BadRequest, await With(client, address + "/"));
        Assert.Equal(HttpStatusCode.BadRequest, await With(client, address + "?x=1"));

        keys.Keys = next.Keys;
        Assert.Equal(HttpStatusCode.BadRequest, await With(next, null)); // not a minute ago
        service.Ward.Clock.Advance(TimeSpan.FromSeconds(61));
        Assert.Equal(HttpStatusCode.OK, await With(next, null));
        Assert.Equal(HttpStatusCode.BadRequest, await With(client, null));
        Assert.Equal(2, keys.Fetches);
    }

    [Fact]
    public async Task Several_keys_of_one_name_are_tried()
    {
        using var client = new TestClient();
        using var other = new TestClient();
        var registered = client.Registered("system/*.rs");
        registered["keys"] = new JsonObject
        {
            ["keys"] = new JsonArray(other.EcKey(client.Kid), client.RsaKey(client.Kid), client.EcKey(client.Kid)),
        };
        await using var service = GuardedService.Start([registered]);
        await service.Token(client);
    }

    [Fact]
    public async Task What_a_client_sees_is_narrowed_by_its_registration()
    {
        using var client = new TestClient();
        var registered = client.Registered("system/*.cruds");
        (registered["facilities"], registered["audit"]) = (new JsonArray("north"), true);
        await using var service = GuardedService.Start([registered], ("Access:Facilities:0", "north"));
        var caller = (await TokenEndpointTests.Judge(service, await service.Token(client, "system/*.rs"))).Caller!;
        Assert.Equal(["north"], caller.Facilities);
        Assert.True(caller.MayReadAudit);
        Assert.Same(caller.GetType(), typeof(Caller));
        Assert.Equal(1, service.Ward.Services.GetRequiredService<Clients>().Version);
    }

    private string Written(string text)
    {
        var file = Path.Combine(_folder, $"{Guid.NewGuid():N}.json");
        File.WriteAllText(file, text);
        return file;
    }

    private List<string> Faults(string text)
    {
        var file = Written(text);
        var faults = Assert.Throws<SettingsFault>(() => Registrations.Read(file, Settings)).Message.Split(Environment.NewLine);
        Assert.All(faults, fault => Assert.StartsWith($"{file}: ", fault, StringComparison.Ordinal));
        return [.. faults.Select(fault => fault[(file.Length + 2)..])];
    }
}
