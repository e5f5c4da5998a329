using System.Globalization;
using System.Text.Json;
using System.Text.RegularExpressions;
using Microsoft.IdentityModel.Tokens;

namespace IrrigationFhir.Access;

/// <summary>A client, as it is registered.</summary>
/// <param name="Id">Its id.</param>
internal sealed record Registration(string Id)
{
    /// <summary>Whether it is let in. Default true.</summary>
    public bool Enabled { get; init; } = true;

    /// <summary>Its public keys, where they stand in the registration.</summary>
    public IReadOnlyList<JsonWebKey> Keys { get; init; } = [];

    /// <summary>Where its public keys are, where they stand elsewhere.</summary>
    public Uri? KeysAt { get; init; }

    /// <summary>What it may be granted; null for whatever the issuer of its tokens grants.</summary>
    public IReadOnlyList<Scope>? Scopes { get; init; }

    /// <summary>The facilities whose patients it sees; null for all.</summary>
    public IReadOnlyList<string>? Facilities { get; init; }

    /// <summary>Whether it may read what was done by whom.</summary>
    public bool Audit { get; init; }

    /// <summary>Requests a second; null for <see cref="AccessSettings.RequestsPerSecond"/>.</summary>
    public int? RequestsPerSecond { get; init; }

    /// <summary>Requests at once; null for <see cref="AccessSettings.Burst"/>.</summary>
    public int? Burst { get; init; }

    /// <summary>
    /// The certificates that it may come with in place of a token: their SHA-256 in capital hexadecimal digits, or an alternative name as
    /// <c>dns:gateway.example</c> or <c>uri:urn:…</c>, for which <see cref="AccessSettings.ClientAuthorities"/> have to vouch.
    /// </summary>
    public IReadOnlyList<string> Certificates { get; init; } = [];

    /// <summary>What is granted of what was asked for: nothing that is not registered, and nothing that cannot be kept to.</summary>
    public IReadOnlyList<Scope> Granted(IEnumerable<Scope> asked) =>
        [.. (Scopes is null ? asked : Scope.Both(asked, Scopes)).DistinctBy(scope => scope.ToString()).Where(Reach.CanKeepTo)];
}

/// <summary>Everybody who is registered: what a file of clients says.</summary>
internal sealed partial class Registrations
{
    private const long MostBytes = 4 << 20;

    private static readonly string[] Members =
    [
        "id",
        "enabled",
        "keys",
        "keysAt",
        "scopes",
        "facilities",
        "audit",
        "requestsPerSecond",
        "burst",
        "certificates",
        "note",
    ];

    private readonly Dictionary<string, Registration> _byId;
    private readonly Dictionary<string, Registration> _byCertificate;

    private Registrations(IEnumerable<Registration> all)
    {
        _byId = all.ToDictionary(client => client.Id, StringComparer.Ordinal);
        _byCertificate = _byId
            .Values.SelectMany(client => client.Certificates.Select(certificate => (certificate, client)))
            .ToDictionary(pair => pair.certificate, pair => pair.client, StringComparer.Ordinal);
    }

    /// <summary>Nobody.</summary>
    public static Registrations None { get; } = new([]);

    /// <summary>The file's time and length when it was read.</summary>
    public (DateTime, long) Stamp { get; private init; }

    /// <summary>Time and length of a file; of one that is not there a stamp of its own, so that its coming back is seen.</summary>
    public static (DateTime, long) StampOf(string file)
    {
        try
        {
            var there = new FileInfo(File.ResolveLinkTarget(file, returnFinalTarget: true)?.FullName ?? file);
            return (there.LastWriteTimeUtc, there.Length);
        }
        catch (Exception failure) when (failure is IOException or UnauthorizedAccessException)
        {
            return default;
        }
    }

    /// <summary>All of them.</summary>
    public IReadOnlyCollection<Registration> All => _byId.Values;

    /// <summary>The one of that id who is let in, or null.</summary>
    public Registration? Find(string id) => _byId.TryGetValue(id, out var client) && client.Enabled ? client : null;

    /// <summary>The one who is let in with a certificate, by its SHA-256 or by a name of it; or null.</summary>
    public Registration? FindByCertificate(string named) =>
        _byCertificate.TryGetValue(named, out var client) && client.Enabled ? client : null;

    /// <summary>Reads a file.</summary>
    /// <exception cref="SettingsFault">It cannot be used; every fault is named, and no key is repeated.</exception>
    public static Registrations Read(string file, AccessSettings settings)
    {
        try
        {
            if (new FileInfo(file).Length > MostBytes)
                throw new SettingsFault([$"{file}: larger than {MostBytes} bytes"]);
            var stamp = StampOf(file);
            using var json = JsonDocument.Parse(File.ReadAllBytes(file), new() { CommentHandling = JsonCommentHandling.Skip });
            var reader = new Reader(settings);
            var all = reader.Clients(json.RootElement);
            if (all.Exists(client => client.Keys.Count + client.Certificates.Count > 0) && OthersMayWrite(file))
                reader.Faults.Add("others than its owner may write it, and it holds keys; mode 0644 or less is expected");
            return reader.Faults.Count == 0
                ? new(all) { Stamp = stamp }
                : throw new SettingsFault(reader.Faults.Select(fault => $"{file}: {fault}"));
        }
        catch (Exception failure) when (failure is IOException or UnauthorizedAccessException)
        {
            throw new SettingsFault([$"{file}: it cannot be read ({failure.GetType().Name})"]);
        }
        catch (JsonException failure)
        {
            throw new SettingsFault([$"{file}: no well-formed JSON, in line {failure.LineNumber + 1}"]);
        }
    }

    private static bool OthersMayWrite(string file) =>
        !OperatingSystem.IsWindows() && (File.GetUnixFileMode(file) & (UnixFileMode.GroupWrite | UnixFileMode.OtherWrite)) != 0;

    private sealed class Reader(AccessSettings settings)
    {
        public List<string> Faults { get; } = [];

        public List<Registration> Clients(JsonElement root)
        {
            if (
                root.ValueKind != JsonValueKind.Object
                || !root.TryGetProperty("clients", out var list)
                || list.ValueKind != JsonValueKind.Array
            )
            {
                Faults.Add("an object whose clients are a list is expected");
                return [];
            }

            var all = list.EnumerateArray()
                .Select((client, number) => Client(client, $"clients[{number}]"))
                .OfType<Registration>()
                .ToList();
            Twice(all.Select(client => client.Id), "id");
            Twice(all.SelectMany(client => client.Certificates), "certificate");
            return all.DistinctBy(client => client.Id).ToList();
        }

        private void Twice(IEnumerable<string> names, string what) =>
            Faults.AddRange(names.GroupBy(name => name).Where(same => same.Skip(1).Any()).Select(same => $"{what} '{same.Key}': twice"));

        private Registration? Client(JsonElement json, string at)
        {
            if (json.ValueKind != JsonValueKind.Object)
            {
                Faults.Add($"{at}: an object is expected");
                return null;
            }

            foreach (var strange in json.EnumerateObject().Where(member => !Members.Contains(member.Name)))
                Faults.Add($"{at}.{strange.Name}: not known; a client has {string.Join(", ", Members)}");
            if (Text(json, "id") is not { } id || !Id().IsMatch(id) || id == Caller.Local.Client)
            {
                Faults.Add($"{at}.id: 1 to 128 letters, digits or one of . _ : / - are expected, and not {Caller.Local.Client}");
                return null;
            }

            var client = new Registration(id)
            {
                Enabled = Flag(json, at, "enabled", true),
                Keys = json.TryGetProperty("keys", out var keys) ? PublicKeys.Read(keys, $"{at}.keys", Faults) : [],
                KeysAt = Address(json, at),
                Scopes = Scopes(json, at),
                Facilities = Facilities(json, at),
                Audit = Flag(json, at, "audit", false),
                RequestsPerSecond = Number(json, at, "requestsPerSecond", 100_000),
                Burst = Number(json, at, "burst", 1_000_000),
                Certificates = Certificates(json, at),
            };
            if (client.Keys.Count > 0 && client.KeysAt is not null)
                Faults.Add($"{at}: keys and keysAt; one of them is expected");
            if (settings.Mode == AccessMode.Own)
            {
                if (!json.TryGetProperty("keys", out _) && !json.TryGetProperty("keysAt", out _) && client.Certificates.Count == 0)
                    Faults.Add($"{at}: keys, keysAt or certificates are expected");
                if (!json.TryGetProperty("scopes", out _))
                    Faults.Add($"{at}.scopes: missing");
            }

            return client;
        }

        private bool Flag(JsonElement json, string at, string name, bool otherwise)
        {
            if (!json.TryGetProperty(name, out var value))
                return otherwise;
            if (value.ValueKind is not (JsonValueKind.True or JsonValueKind.False))
                Faults.Add($"{at}.{name}: true or false is expected");
            return value.ValueKind == JsonValueKind.True;
        }

        private int? Number(JsonElement json, string at, string name, int most)
        {
            if (!json.TryGetProperty(name, out var value))
                return null;
            if (value.ValueKind == JsonValueKind.Number && value.TryGetInt32(out var number) && number >= 1 && number <= most)
                return number;
            Faults.Add(string.Create(CultureInfo.InvariantCulture, $"{at}.{name}: 1 to {most} is expected"));
            return null;
        }

        private Uri? Address(JsonElement json, string at)
        {
            if (!json.TryGetProperty("keysAt", out _))
                return null;
            if (Uri.TryCreate(Text(json, "keysAt"), UriKind.Absolute, out var address) && settings.IsFetchable(address))
                return address;
            Faults.Add($"{at}.keysAt: an absolute https address is expected");
            return null;
        }

        private List<Scope>? Scopes(JsonElement json, string at)
        {
            if (Texts(json, at, "scopes") is not { } texts)
                return null;
            var scopes = new List<Scope>();
            foreach (var text in texts.SelectMany(text => text.Split(' ', StringSplitOptions.RemoveEmptyEntries)))
            {
                if (Scope.Parse(text) is not { } scope)
                    Faults.Add($"{at}.scopes: '{text}'; a scope such as system/Observation.rs is expected");
                else if (!Reach.CanKeepTo(scope))
                    Faults.Add($"{at}.scopes: '{text}'; a query by {string.Join(", ", Reach.Parameters)} alone is expected");
                else
                    scopes.Add(scope);
            }

            return scopes;
        }

        private List<string>? Facilities(JsonElement json, string at)
        {
            var named = Texts(json, at, "facilities");
            foreach (var stranger in (named ?? []).Where(name => settings.Facilities.Length > 0 && !settings.Facilities.Contains(name)))
                Faults.Add($"{at}.facilities: '{stranger}'; one of Access:Facilities is expected");
            return named;
        }

        private List<string> Certificates(JsonElement json, string at)
        {
            var given = (Texts(json, at, "certificates") ?? []).Select(Certificate).ToList();
            if (given.Contains(null))
                Faults.Add(
                    $"{at}.certificates: the SHA-256 of a certificate, 64 hexadecimal digits, is expected; or dns: or uri: and a name of it"
                );
            if (settings.ClientAuthorities is null && given.OfType<string>().Any(text => text.Contains(':', StringComparison.Ordinal)))
                Faults.Add($"{at}.certificates: a name of one; Access:ClientAuthorities are expected, who vouch for it");
            // One that cannot be used is there all the same: that none is would be a second fault, and not so.
            return [.. given.Select(text => text ?? "")];
        }

        private static string? Certificate(string text)
        {
            if (text.StartsWith("dns:", StringComparison.Ordinal))
                return Uri.CheckHostName(text[4..]) == UriHostNameType.Dns ? text.ToLowerInvariant() : null;
            if (text.StartsWith("uri:", StringComparison.Ordinal))
                return Uri.TryCreate(text[4..], UriKind.Absolute, out _) ? text : null;
            var digits = text.Replace(":", "", StringComparison.Ordinal);
            return Sha256().IsMatch(digits) ? digits.ToUpperInvariant() : null;
        }

        private List<string>? Texts(JsonElement json, string at, string name)
        {
            if (!json.TryGetProperty(name, out var list))
                return null;
            if (list.ValueKind == JsonValueKind.Array && list.EnumerateArray().All(item => item.ValueKind == JsonValueKind.String))
                return [.. list.EnumerateArray().Select(item => item.GetString()!)];
            Faults.Add($"{at}.{name}: a list of texts is expected");
            return null;
        }

        private static string? Text(JsonElement json, string name) =>
            json.TryGetProperty(name, out var value) && value.ValueKind == JsonValueKind.String ? value.GetString() : null;
    }

    [GeneratedRegex(@"\A[A-Za-z0-9._:/-]{1,128}\z")]
    private static partial Regex Id();

    [GeneratedRegex(@"\A[0-9A-Fa-f]{64}\z")]
    private static partial Regex Sha256();
}
