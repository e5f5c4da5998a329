using System.Buffers;
using System.Text.RegularExpressions;

namespace IrrigationFhir.Audit;

/// <summary>
/// Leaves out of a request in one line what its sender should not have written there: tokens, assertions, passwords. They belong into
/// headers and bodies, and are kept nowhere.
/// </summary>
internal static partial class Secrets
{
    // Nearly no request says any of these: looking for them is all that it costs.
    private static readonly SearchValues<string> Signs = SearchValues.Create(
        ["token=", "secret=", "assertion=", "password=", "key=", "eyJ"],
        StringComparison.OrdinalIgnoreCase
    );

    /// <summary>The same request without their values.</summary>
    public static string LeftOut(string asked) =>
        asked.AsSpan().ContainsAny(Signs) ? Jwt().Replace(Named().Replace(asked, "$1…"), "…") : asked;

    [GeneratedRegex(
        @"([?&](?:access_token|id_token|refresh_token|client_secret|client_assertion|assertion|password|api_?key)=)[^&\s]*",
        RegexOptions.IgnoreCase
    )]
    private static partial Regex Named();

    // A JWT wherever it stands: header, claims, signature.
    [GeneratedRegex(@"eyJ[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+\.[A-Za-z0-9_-]+")]
    private static partial Regex Jwt();
}
