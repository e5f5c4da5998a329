using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;

namespace IrrigationFhir.Access;

/// <summary>An address at which settings have the service listen.</summary>
/// <param name="Setting">Which setting.</param>
/// <param name="Text">What it says.</param>
/// <param name="Url">The address; null for ports at every address of this machine.</param>
/// <param name="IsEncrypted">Whether TLS ends there.</param>
internal sealed record Listeners(string Setting, string Text, string? Url, bool IsEncrypted)
{
    /// <summary>Whether it is reached from this machine alone.</summary>
    public bool IsHere => Url is not null && OpenToThisMachine.IsHere(Url);

    /// <summary>All that settings name.</summary>
    public static IEnumerable<Listeners> In(IConfiguration configuration)
    {
        foreach (var port in new[] { "http_ports", "https_ports" })
        {
            // Of no effect where addresses are given.
            if (configuration["urls"] is not { Length: > 0 } && configuration[port] is { Length: > 0 } ports)
                yield return new(port, ports, null, port == "https_ports");
        }

        foreach (
            var url in (configuration["urls"] ?? "").Split(';', StringSplitOptions.RemoveEmptyEntries | StringSplitOptions.TrimEntries)
        )
            yield return new("urls", url, url, IsTls(url));
        foreach (var endpoint in configuration.GetSection("Kestrel:Endpoints").GetChildren())
        {
            if (endpoint["Url"] is { Length: > 0 } url)
                yield return new($"{endpoint.Path}:Url", url, url, IsTls(url));
        }
    }

    /// <summary>Whether an address is one of TLS.</summary>
    public static bool IsTls(string url) => url.StartsWith("https:", StringComparison.OrdinalIgnoreCase);

    /// <summary>Looks at where the service really listens, once it does, and ends it where it must not.</summary>
    /// <param name="server">The server, which knows then.</param>
    /// <param name="settings">Says who is let in.</param>
    public sealed class Watch(IServer server, AccessSettings settings) : IHostedLifecycleService
    {
        /// <inheritdoc/>
        /// <exception cref="SettingsFault">
        /// An open service could be reached from elsewhere, or tokens would travel in the clear.
        /// </exception>
        public Task StartedAsync(CancellationToken cancellationToken)
        {
            var addresses = server.Features.Get<IServerAddressesFeature>()?.Addresses ?? [];
            var faults = (
                settings.IsOfThisMachine ? OpenToThisMachine.Elsewhere(addresses)
                : settings.NeedsTls ? TokensInTheClear.Elsewhere(addresses)
                : []
            ).ToList();
            return faults.Count == 0 ? Task.CompletedTask : throw new SettingsFault(faults);
        }

        /// <inheritdoc/>
        public Task StartingAsync(CancellationToken cancellationToken) => Task.CompletedTask;

        /// <inheritdoc/>
        public Task StartAsync(CancellationToken cancellationToken) => Task.CompletedTask;

        /// <inheritdoc/>
        public Task StoppingAsync(CancellationToken cancellationToken) => Task.CompletedTask;

        /// <inheritdoc/>
        public Task StopAsync(CancellationToken cancellationToken) => Task.CompletedTask;

        /// <inheritdoc/>
        public Task StoppedAsync(CancellationToken cancellationToken) => Task.CompletedTask;
    }
}

/// <summary>Tokens travel encrypted outside this machine: TLS ends here, or at a proxy that is known.</summary>
internal static class TokensInTheClear
{
    private const string WaysOut =
        "tokens would travel unencrypted: give that address TLS (https, with a certificate), name the proxies at which TLS ends "
        + "(Access:Proxies), or say Access:PlainHttp=true where something else encrypts";

    /// <summary>Settings that would have tokens come unencrypted from elsewhere.</summary>
    public static IEnumerable<string> Faults(IConfiguration configuration) =>
        Listeners
            .In(configuration)
            .Where(listener => !listener.IsHere && !listener.IsEncrypted)
            .Select(listener => $"{listener.Setting}: '{listener.Text}'; {WaysOut}");

    /// <summary>What is wrong with where the service really listens.</summary>
    public static IEnumerable<string> Elsewhere(IEnumerable<string> addresses) =>
        addresses.Where(url => !Listeners.IsTls(url) && !OpenToThisMachine.IsHere(url)).Select(url => $"'{url}'; {WaysOut}");
}
