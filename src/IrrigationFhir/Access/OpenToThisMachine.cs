using System.Net;
using Microsoft.AspNetCore.Connections;
using Microsoft.AspNetCore.Server.Kestrel.Core;

namespace IrrigationFhir.Access;

/// <summary>An open service is reached from its own machine alone: looked after before it starts, after, and at each connection.</summary>
internal static class OpenToThisMachine
{
    private const string WaysOut =
        "an open service is reached from this machine alone: set Access:Mode to tokens or own, or Access:OpenToNetwork=true where "
        + "something else guards it";

    /// <summary>Settings that would have an open service reached from elsewhere.</summary>
    public static IEnumerable<string> Widened(IConfiguration configuration) =>
        Listeners
            .In(configuration)
            .Where(listener => !listener.IsHere)
            .Select(listener =>
                listener.Url is null
                    ? $"{listener.Setting}: '{listener.Text}' listens at every address of this machine; {WaysOut}"
                    : $"{listener.Setting}: '{listener.Text}' can be reached from elsewhere; {WaysOut}"
            );

    /// <summary>Whether a server's address is one of this machine alone; what cannot be read is not.</summary>
    public static bool IsHere(string url)
    {
        try
        {
            var address = BindingAddress.Parse(url);
            return address.IsUnixPipe
                || address.IsNamedPipe
                || address.Host.Equals("localhost", StringComparison.OrdinalIgnoreCase)
                || (IPAddress.TryParse(address.Host.Trim('[', ']'), out var ip) && IPAddress.IsLoopback(ip));
        }
        catch (FormatException)
        {
            return true; // no address at all: HostSettings says so
        }
    }

    /// <summary>Ends every connection at once whose ends do not both lie on this machine.</summary>
    /// <remarks>
    /// It holds between the moment that a socket listens and the moment that <see cref="Listeners.Watch"/> looks at where.
    /// </remarks>
    public static void RefuseStrangers(ListenOptions endpoint) =>
        endpoint.Use(next =>
            connection =>
            {
                if (IsHere(connection.LocalEndPoint) && IsHere(connection.RemoteEndPoint))
                    return next(connection);
                connection.Abort(new ConnectionAbortedException("a connection from elsewhere to an open service"));
                return Task.CompletedTask;
            }
        );

    /// <summary>Whether the end of a connection is on this machine. Neither a test's own server nor a Unix socket has addresses.</summary>
    public static bool IsHere(EndPoint? end) =>
        end is not IPEndPoint { Address: var address } || IPAddress.IsLoopback(address.IsIPv4MappedToIPv6 ? address.MapToIPv4() : address);

    /// <summary>What is wrong with where an open service really listens.</summary>
    public static IEnumerable<string> Elsewhere(IEnumerable<string> addresses) =>
        addresses.Where(url => !IsHere(url)).Select(url => $"'{url}' can be reached from elsewhere; {WaysOut}");
}
