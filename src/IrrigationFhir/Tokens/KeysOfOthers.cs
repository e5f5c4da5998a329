using System.Collections.Concurrent;
using System.Text.Json;
using IrrigationFhir.Access;
using Microsoft.IdentityModel.Tokens;

namespace IrrigationFhir.Tokens;

/// <summary>Public keys of clients: as they are registered, or at the address that is.</summary>
internal sealed class KeysOfClients(KeyFetcher fetch, TimeProvider clock)
{
    private readonly ConcurrentDictionary<string, Fetched<List<JsonWebKey>>> _at = new();

    /// <summary>Keys of that name; several may share one.</summary>
    public async Task<IReadOnlyList<JsonWebKey>> Find(Registration client, string kid, CancellationToken stop)
    {
        var keys = client.KeysAt is not { } address
            ? client.Keys
            : await _at.GetOrAdd(address.AbsoluteUri, _ => new(address, Read, fetch, clock))
                .Get(known => known.Exists(key => key.Kid == kid), stop)
                ?? [];
        return [.. keys.Where(key => key.Kid == kid)];
    }

    /// <summary>Of a set of somebody else's, what can be used: other kinds of keys are passed over.</summary>
    public static List<JsonWebKey> Read(JsonElement set) => PublicKeys.Read(set, "", []);
}

/// <summary>What the issuer of a site says of itself (OpenID Connect Discovery 1.0).</summary>
/// <param name="KeysAt">Where its keys are.</param>
/// <param name="Document">All of it.</param>
internal sealed record Discovery(Uri KeysAt, JsonElement Document);

/// <summary>The issuer of a site: what it says of itself, and its public keys.</summary>
/// <remarks>
/// The library that reads discovery documents fetches as it likes; what is fetched here, how much, how often and from where is bounded as
/// clients' keys are.
/// </remarks>
internal sealed class IssuerOfSite(AccessSettings settings, KeyFetcher fetch, TimeProvider clock)
{
    private readonly Lock _gate = new();
    private Fetched<Discovery>? _discovery;
    private (Uri At, Fetched<List<JsonWebKey>> Keys)? _keys;

    /// <summary>What it says of itself; null where it cannot be reached, or says that it is another.</summary>
    public Task<Discovery?> Discover(CancellationToken stop)
    {
        lock (_gate)
        {
            var address = new Uri($"{settings.Issuer!.TrimEnd('/')}/.well-known/openid-configuration");
            _discovery ??= new(address, Read, fetch, clock);
        }

        return _discovery.Get(_ => true, stop);
    }

    /// <summary>Its keys of that name; several may share one.</summary>
    public async Task<IReadOnlyList<JsonWebKey>> Find(string kid, CancellationToken stop)
    {
        if (await Discover(stop) is not { } discovery)
            return [];
        Fetched<List<JsonWebKey>> keys;
        lock (_gate)
        {
            if (_keys?.At != discovery.KeysAt)
                _keys = (discovery.KeysAt, new(discovery.KeysAt, KeysOfClients.Read, fetch, clock));
            keys = _keys.Value.Keys;
        }

        var known = await keys.Get(known => known.Exists(key => key.Kid == kid), stop) ?? [];
        return [.. known.Where(key => key.Kid == kid)];
    }

    private Discovery? Read(JsonElement json) =>
        json.ValueKind == JsonValueKind.Object
        && json.TryGetProperty("issuer", out var issuer)
        && issuer.ValueKind == JsonValueKind.String
        && issuer.GetString() == settings.Issuer
        && json.TryGetProperty("jwks_uri", out var keys)
        && keys.ValueKind == JsonValueKind.String
        && Uri.TryCreate(keys.GetString(), UriKind.Absolute, out var address)
        && settings.IsFetchable(address)
            ? new(address, json)
            : null;
}
