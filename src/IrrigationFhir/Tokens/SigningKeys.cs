using System.Security.Cryptography;
using IrrigationFhir.Access;
using IrrigationFhir.Store;
using Microsoft.IdentityModel.Tokens;
using NodaTime;

namespace IrrigationFhir.Tokens;

/// <summary>The keys that are good now.</summary>
/// <param name="Signing">What tokens are signed with, its secret part too.</param>
/// <param name="Published">The public parts of all whose tokens are good, and of the one that comes next.</param>
internal sealed record LiveKeys(JsonWebKey Signing, IReadOnlyList<JsonWebKey> Published);

/// <summary>The keys of our own tokens: made, sealed, kept in the store, and followed by the next in time.</summary>
/// <remarks>
/// The next is published a day before it signs, and the last until its tokens have died. Nothing runs for that: whoever asks for the keys
/// looks, at most once a minute, whether it is time. Of several who share a store one makes the next (<see cref="AccessStore.AddKey"/>). A
/// key that cannot be opened, because the key that seals was lost, is as good as none: another is made, and what it signed dies at once.
/// </remarks>
internal sealed partial class SigningKeys(
    AccessStore store,
    StoreSettings folder,
    AccessSettings settings,
    IAudit audit,
    TimeProvider clock,
    ILogger<SigningKeys> log
) : IDisposable
{
    /// <summary>For how long a key signs.</summary>
    public static readonly Duration Signs = Duration.FromDays(30);

    /// <summary>How long before that it is published.</summary>
    public static readonly Duration Ahead = Duration.FromDays(1);

    /// <summary>For how long it is published afterwards: the life of a token, clocks that differ, and whoever asks once a minute.</summary>
    private static readonly Duration Overlap = Duration.FromMinutes(10);

    private static readonly TimeSpan LookEvery = TimeSpan.FromMinutes(1);

    private readonly SemaphoreSlim _one = new(1);
    private SealingKey? _sealing;
    private long _lookedAt;
    private volatile LiveKeys? _live;

    /// <summary>The keys that are good now.</summary>
    public async Task<LiveKeys> Live(CancellationToken stop)
    {
        if (Fresh is { } fresh)
            return fresh;
        await _one.WaitAsync(stop);
        try
        {
            if (Fresh is { } meanwhile)
                return meanwhile;
            _live = await Look(stop);
            Volatile.Write(ref _lookedAt, clock.GetTimestamp());
            return _live;
        }
        catch (StoreFailure) when (_live is { } before)
        {
            return before; // who cannot be written can still be read, by whoever has a token
        }
        finally
        {
            _one.Release();
        }
    }

    /// <inheritdoc/>
    public void Dispose() => _one.Dispose();

    private LiveKeys? Fresh => clock.GetElapsedTime(Volatile.Read(ref _lookedAt)) < LookEvery ? _live : null;

    private async Task<LiveKeys> Look(CancellationToken stop)
    {
        var now = Instant.FromDateTimeOffset(clock.GetUtcNow());
        var (opened, lost) = await OpenAll(now, stop);
        var signing = opened.LastOrDefault(key => key.From <= now);
        if (signing is null)
            await Make(now, now - Duration.FromMinutes(1), lost, stop);
        else if (now >= signing.From + Signs - Ahead && !opened.Exists(key => key.From > now))
            await Make(Instant.Max(signing.From + Signs, now + Ahead), now, lost, stop);
        else
            return Live(opened, signing);
        (opened, _) = await OpenAll(now, stop);
        return Live(opened, opened.LastOrDefault(key => key.From <= now) ?? opened[0]);
    }

    private static LiveKeys Live(List<OpenedKey> opened, OpenedKey signing) => new(signing.Key, [.. opened.Select(key => Public(key.Key))]);

    /// <summary>Those that are published, and the names of those that nobody can open.</summary>
    private async Task<(List<OpenedKey> Opened, List<string> Lost)> OpenAll(Instant now, CancellationToken stop)
    {
        _sealing ??= SealingKey.At(settings.KeyFileIn(folder.Folder));
        var (opened, lost) = (new List<OpenedKey>(), new List<string>());
        foreach (var key in await store.Keys(stop))
        {
            if (_sealing.Open(key.Sealed, key.Kid) is not { } plain)
                lost.Add(key.Kid);
            else if (key.RetireAt is not { } retire || retire > now)
                opened.Add(new(Read(plain, key.Kid), key.NotBefore));
        }

        return (opened, lost);
    }

    private async Task Make(Instant from, Instant unlessAfter, List<string> lost, CancellationToken stop)
    {
        using var key = ECDsa.Create(ECCurve.NamedCurves.nistP384);
        var plain = key.ExportPkcs8PrivateKey();
        var kid = Base64UrlEncoder.Encode(Read(plain, "").ComputeJwkThumbprint());
        var made = await store.AddKey(new(kid, _sealing!.Seal(plain, kid), from, null), unlessAfter, lost, Overlap, stop);
        CryptographicOperations.ZeroMemory(plain);
        if (!made)
            return;
        LogMade(kid, from, lost.Count);
        await audit.RolesChanged("signing-key-made", [kid, .. lost]);
    }

    private static JsonWebKey Read(byte[] plain, string kid)
    {
        using var key = ECDsa.Create();
        key.ImportPkcs8PrivateKey(plain, out _);
        var numbers = key.ExportParameters(includePrivateParameters: true);
        return new()
        {
            Kty = "EC",
            Crv = "P-384",
            Kid = kid,
            Alg = "ES384",
            X = Base64UrlEncoder.Encode(numbers.Q.X),
            Y = Base64UrlEncoder.Encode(numbers.Q.Y),
            D = Base64UrlEncoder.Encode(numbers.D),
        };
    }

    /// <summary>Built of the public members alone: whatever else a key has stays here.</summary>
    private static JsonWebKey Public(JsonWebKey key) =>
        new()
        {
            Kty = key.Kty,
            Crv = key.Crv,
            Kid = key.Kid,
            Alg = key.Alg,
            Use = "sig",
            X = key.X,
            Y = key.Y,
        };

    private sealed record OpenedKey(JsonWebKey Key, Instant From);

    [LoggerMessage(
        1,
        LogLevel.Information,
        "A key of access tokens was made: {Kid} signs from {From} on; {Lost} older ones cannot be opened"
    )]
    private partial void LogMade(string kid, Instant from, int lost);
}
