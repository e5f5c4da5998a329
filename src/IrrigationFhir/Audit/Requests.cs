using System.Text.RegularExpressions;
using IrrigationFhir.Access;
using IrrigationFhir.Model;

namespace IrrigationFhir.Audit;

/// <summary>What a request says of who sent it, for the audit.</summary>
internal static partial class Requests
{
    /// <summary>The header that names a request, of whoever passes it on.</summary>
    public const string IdHeader = "X-Request-Id";

    /// <summary>Who is called so is not known.</summary>
    public const string Nobody = "unknown";

    private static readonly object Place = new();

    /// <summary>Names each request, as its sender did or anew, and says the name with the answer. Put it before what refuses.</summary>
    public static WebApplication UseRequestIds(this WebApplication app)
    {
        app.Use(
            (http, next) =>
            {
                var sent = http.Request.Headers[IdHeader] is [{ } one] && Sane().IsMatch(one) ? one : null;
                var id = sent ?? Guid.NewGuid().ToString("N");
                http.Items[Place] = id;
                http.Response.OnStarting(
                    said =>
                    {
                        http.Response.Headers[IdHeader] = (string)said;
                        return Task.CompletedTask;
                    },
                    id
                );
                return next(http);
            }
        );
        return app;
    }

    /// <summary>Has everything done on behalf of the caller. Put it behind what tells who that is.</summary>
    public static WebApplication UseAudit(this WebApplication app)
    {
        app.Use(
            (http, next) =>
            {
                ActorOf(http).Acts();
                return next(http);
            }
        );
        return app;
    }

    /// <summary>Who sent a request, as far as that is known.</summary>
    public static Actor ActorOf(HttpContext http)
    {
        var (caller, connection) = (Caller.Known(http), http.Connection);
        return new(
            caller is { Client.Length: > 0 } ? caller.Client : Nobody,
            caller?.Token,
            http.Items[Place] as string,
            Text(connection.RemoteIpAddress),
            Text(connection.LocalIpAddress)
        );
    }

    private static string? Text(System.Net.IPAddress? address) =>
        address is { IsIPv4MappedToIPv6: true } ? address.MapToIPv4().ToString() : address?.ToString();

    [GeneratedRegex(@"\A[A-Za-z0-9._-]{1,64}\z")]
    private static partial Regex Sane();
}
