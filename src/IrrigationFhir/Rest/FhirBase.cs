using Microsoft.AspNetCore.Hosting.Server;
using Microsoft.AspNetCore.Hosting.Server.Features;

namespace IrrigationFhir.Rest;

/// <summary>The address of the FHIR base, for links and fullUrls.</summary>
internal static class FhirBase
{
    /// <summary>Where the base lies under the service.</summary>
    public const string Path = "/fhir";

    /// <summary>The configured address, or the one of this request; without a trailing slash.</summary>
    public static string Of(HttpRequest request, FhirSettings settings) =>
        settings.BaseUrl?.TrimEnd('/') ?? $"{request.Scheme}://{request.Host}{request.PathBase}{Path}";

    /// <summary>The configured address, or one that the server listens at, where there is no request to tell.</summary>
    public static string Of(IServer server, FhirSettings settings) =>
        settings.BaseUrl?.TrimEnd('/')
        ?? $"{OnThisMachine(server.Features.Get<IServerAddressesFeature>()?.Addresses.FirstOrDefault()?.TrimEnd('/') ?? "")}{Path}";

    /// <summary>A server that listens at every address is found at this machine's.</summary>
    private static string OnThisMachine(string address) =>
        new[] { "[::]", "0.0.0.0", "+", "*" }.Aggregate(
            address,
            (so, any) => so.Replace($"//{any}:", "//localhost:", StringComparison.Ordinal)
        );
}
