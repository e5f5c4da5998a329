using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.IdentityModel.Tokens;

namespace IrrigationFhir.Tests.Access;

/// <summary>The keys that our own tokens are signed with: how one follows another, and where they are (R-ACC-29).</summary>
public class SigningKeysTests
{
    [Fact]
    public async Task The_next_key_is_published_a_day_ahead_and_the_last_one_until_its_tokens_have_died()
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.rs")]);
        var first = Assert.Single(await Published(service));
        Assert.Equal(first, KidOf(await service.Token(client)));

        service.Ward.Clock.Advance(TimeSpan.FromDays(28.9));
        Assert.Equal([first], await Published(service));
        service.Ward.Clock.Advance(TimeSpan.FromDays(0.1) + TimeSpan.FromMinutes(1)); // day 29
        var both = await Published(service);
        Assert.Equal(2, both.Count);
        Assert.Equal(first, both[0]);
        Assert.Equal(first, KidOf(await service.Token(client)));

        service.Ward.Clock.Advance(TimeSpan.FromDays(1) - TimeSpan.FromMinutes(2)); // day 30 less a minute
        var last = await service.Token(client);
        Assert.Equal(first, KidOf(last));
        service.Ward.Clock.Advance(TimeSpan.FromMinutes(4));
        Assert.Equal(both[1], KidOf(await service.Token(client)));
        Assert.Equal(both, await Published(service));
        Assert.NotNull((await TokenEndpointTests.Judge(service, last)).Caller); // rotated out while it lives

        service.Ward.Clock.Advance(TimeSpan.FromMinutes(1) + TimeSpan.FromSeconds(31));
        Assert.Equal((null, "token-expired"), await TokenEndpointTests.Judge(service, last));
        service.Ward.Clock.Advance(TimeSpan.FromMinutes(10));
        Assert.Equal([both[1]], await Published(service));
    }

    [Fact]
    public async Task After_a_long_silence_the_next_key_is_still_published_a_day_before_it_signs()
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.rs")]);
        var first = Assert.Single(await Published(service));
        service.Ward.Clock.Advance(TimeSpan.FromDays(90));
        Assert.Equal(first, KidOf(await service.Token(client)));
        Assert.Equal(2, (await Published(service)).Count);
        service.Ward.Clock.Advance(TimeSpan.FromDays(1.01));
        Assert.NotEqual(first, KidOf(await service.Token(client)));
    }

    [Fact]
    public async Task Services_over_one_store_have_the_same_keys_and_a_restart_keeps_them()
    {
        using var client = new TestClient();
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        IReadOnlyList<string> keys;
        await using (var one = GuardedService.Start(folder, [client.Registered("system/*.rs")]))
        await using (var two = GuardedService.Start(folder, [client.Registered("system/*.rs")]))
        {
            var both = await Task.WhenAll(Published(one), Published(two));
            Assert.Equal(both[0], both[1]);
            keys = Assert.Single([both[0]]);
            foreach (var service in new[] { one, two })
                service.Ward.Clock.Advance(TimeSpan.FromDays(29.5));
            both = await Task.WhenAll(Published(one), Published(two));
            Assert.Equal(2, both[0].Count);

            // Whoever looked a moment before the other made it sees it a minute later.
            foreach (var service in new[] { one, two })
                service.Ward.Clock.Advance(TimeSpan.FromMinutes(2));
            both = await Task.WhenAll(Published(one), Published(two));
            Assert.Equal(both[0], both[1]);
            Assert.Equal(keys, both[0].Take(1));
        }

        await using (var again = GuardedService.Start(folder, [client.Registered("system/*.rs")]))
            Assert.Equal(keys, (await Published(again)).Take(1));
        await RunningService.Remove(folder);
    }

    [Fact]
    public async Task A_key_that_nobody_can_open_any_more_is_followed_by_another_at_once()
    {
        using var client = new TestClient();
        var folder = Directory.CreateTempSubdirectory("ward-").FullName;
        string kid,
            token;
        await using (var one = GuardedService.Start(folder, [client.Registered("system/*.rs")]))
            (kid, token) = (Assert.Single(await Published(one)), await one.Token(client));
        File.Delete(Path.Combine(folder, "access.key"));
        await using (var again = GuardedService.Start(folder, [client.Registered("system/*.rs")]))
        {
            again.Ward.Clock.Advance(TimeSpan.FromMinutes(2));
            Assert.NotEqual(kid, Assert.Single(await Published(again)));
            Assert.Equal((null, "not-authenticated"), await TokenEndpointTests.Judge(again, token));
            Assert.NotNull((await TokenEndpointTests.Judge(again, await again.Token(client))).Caller);
        }

        await RunningService.Remove(folder);
    }

    [Fact]
    public async Task Nothing_secret_is_published_or_lies_in_the_store_in_the_clear()
    {
        using var client = new TestClient();
        await using var service = GuardedService.Start([client.Registered("system/*.rs")]);
        await service.Token(client);
        var text = (await service.Ward.Get("/auth/jwks")).Text;
        foreach (var key in JsonNode.Parse(text)!["keys"]!.AsArray())
            Assert.Equal(["alg", "crv", "kid", "kty", "use", "x", "y"], key!.AsObject().Select(m => m.Key).Order(StringComparer.Ordinal));

        var signing = (await service.Ward.Services.GetRequiredService<IrrigationFhir.Tokens.SigningKeys>().Live(default)).Signing;
        var secret = Base64UrlEncoder.DecodeBytes(signing.D);
        foreach (var file in Directory.GetFiles(service.Ward.Folder, "irrigation.db*"))
        {
            await using var stream = new FileStream(file, FileMode.Open, FileAccess.Read, FileShare.ReadWrite);
            var bytes = new byte[stream.Length];
            await stream.ReadExactlyAsync(bytes);
            Assert.Equal(-1, bytes.AsSpan().IndexOf(secret));
        }

        if (!OperatingSystem.IsWindows())
        {
            Assert.Equal(
                UnixFileMode.UserRead | UnixFileMode.UserWrite,
                File.GetUnixFileMode(Path.Combine(service.Ward.Folder, "access.key"))
            );
        }
    }

    [SkippableFact]
    public void A_sealing_key_that_others_may_read_or_that_is_none_is_refused()
    {
        Skip.If(OperatingSystem.IsWindows(), "files have no mode there");
        var file = Path.GetTempFileName();
        File.WriteAllText(file, Convert.ToBase64String(new byte[32]));
        const UnixFileMode Owner = UnixFileMode.UserRead | UnixFileMode.UserWrite;
        UnixMode.Set(file, Owner);
        Assert.Null(SealingKey.Fault(file));
        UnixMode.Set(file, Owner | UnixFileMode.GroupRead);
        Assert.Equal("can be read by others than its owner; mode 0600 is expected", SealingKey.Fault(file));
        UnixMode.Set(file, Owner);
        foreach (var text in new[] { "", "secret", Convert.ToBase64String(new byte[31]), Convert.ToBase64String(new byte[33]) })
        {
            File.WriteAllText(file, text);
            Assert.Equal("holds no key; 32 bytes in base64 are expected", SealingKey.Fault(file));
        }

        File.Delete(file);
        Assert.Equal("cannot be read (FileNotFoundException)", SealingKey.Fault(file));
    }

    private static async Task<IReadOnlyList<string>> Published(GuardedService service) =>
        [.. (await service.Ward.Read("/auth/jwks"))["keys"]!.AsArray().Select(key => (string)key!["kid"]!)];

    private static string KidOf(string token) => (string)JsonNode.Parse(Base64UrlEncoder.Decode(token.Split('.')[0]))!["kid"]!;
}
