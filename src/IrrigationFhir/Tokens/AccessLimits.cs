using System.Globalization;
using System.Net;
using System.Net.Sockets;
using System.Threading.RateLimiting;
using IrrigationFhir.Access;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using Microsoft.AspNetCore.RateLimiting;

namespace IrrigationFhir.Tokens;

/// <summary>How much one client may ask for, and how often one network may fail to say who it is.</summary>
/// <remarks>
/// A limit is kept for a client that is known, or for a network that a connection came from: never for a name that somebody made up, who
/// could make up more.
/// </remarks>
internal sealed class AccessLimits : IDisposable
{
    /// <summary>The code of the problem.</summary>
    public const string Code = "too-many-requests";

    private readonly PartitionedRateLimiter<IPAddress> _failures;
    private readonly PartitionedRateLimiter<Registration> _tokens;

    /// <summary>By the settings.</summary>
    public AccessLimits(AccessSettings settings)
    {
        _failures = PartitionedRateLimiter.Create<IPAddress, IPAddress>(network =>
            RateLimitPartition.GetTokenBucketLimiter(network, _ => PerMinute(settings.FailuresPerMinute))
        );
        _tokens = PartitionedRateLimiter.Create<Registration, string>(client =>
            RateLimitPartition.GetTokenBucketLimiter(client.Id, _ => PerMinute(settings.TokensPerMinute))
        );
    }

    /// <summary>
    /// Limits the requests of each client. <c>UseRateLimiter</c> has to come after whoever says who asks; where nobody does, or the
    /// service is open, there is no limit.
    /// </summary>
    public static void Add(RateLimiterOptions options, AccessSettings settings, Clients clients, IAudit audit)
    {
        options.GlobalLimiter = PartitionedRateLimiter.Create<HttpContext, (string, int, int)>(http =>
        {
            if (settings.Mode == AccessMode.Open || Caller.Known(http) is not { Client.Length: > 0 } caller)
                return RateLimitPartition.GetNoLimiter(("", 0, 0));
            var registered = clients.Now.Find(caller.Client);
            var (rate, burst) = (registered?.RequestsPerSecond ?? settings.RequestsPerSecond, registered?.Burst ?? settings.Burst);
            return RateLimitPartition.GetTokenBucketLimiter(
                (caller.Client, rate, burst),
                _ =>
                    new()
                    {
                        TokenLimit = burst,
                        TokensPerPeriod = rate,
                        ReplenishmentPeriod = TimeSpan.FromSeconds(1),
                    }
            );
        });

        // Of the two kinds of limits this one alone says when to come back.
        var others = options.OnRejected;
        options.OnRejected = async (rejected, stop) =>
        {
            audit.Refused(rejected.HttpContext, StatusCodes.Status429TooManyRequests, Code);
            if (rejected.Lease.TryGetMetadata(MetadataName.RetryAfter, out var wait))
                await TooMany(rejected.HttpContext, wait, "more requests than this client may send").ExecuteAsync(rejected.HttpContext);
            else if (others is not null)
                await others(rejected, stop);
        };
    }

    /// <summary>
    /// A request said wrongly who sends it; whether there were so many from its network that the next ones are to wait. Of failures alone:
    /// whoever is known is let in, however many others there fail.
    /// </summary>
    public bool IsOneTooMany(HttpContext http)
    {
        using var lease = _failures.AttemptAcquire(Network(http.Connection.RemoteIpAddress));
        return !lease.IsAcquired;
    }

    /// <summary>Takes one of the tokens that a client gets in a minute; how long to wait where there is none left.</summary>
    public TimeSpan? TakeToken(Registration client)
    {
        using var lease = _tokens.AttemptAcquire(client);
        return lease.IsAcquired ? null
            : lease.TryGetMetadata(MetadataName.RetryAfter, out var wait) ? wait
            : TimeSpan.FromSeconds(6);
    }

    /// <summary>The answer to a network that has to wait.</summary>
    public static OutcomeResult TooMany(HttpContext http) =>
        TooMany(http, TimeSpan.FromSeconds(1), "too many requests that did not say who sends them");

    /// <summary>The answer to who has to wait.</summary>
    public static OutcomeResult TooMany(HttpContext http, TimeSpan wait, string saw)
    {
        http.Response.Headers.RetryAfter = Math.Max(1, Math.Ceiling(wait.TotalSeconds)).ToString(CultureInfo.InvariantCulture);
        return new(
            StatusCodes.Status429TooManyRequests,
            Outcome.Problem(Code, saw, "the same request again after a pause; Retry-After says how long", null)
        );
    }

    /// <summary>The network that an address belongs to: /24, of IPv6 /56, which is what one household or site is given.</summary>
    public static IPAddress Network(IPAddress? address)
    {
        if (address is null)
            return IPAddress.None;
        if (address.IsIPv4MappedToIPv6)
            address = address.MapToIPv4();
        var bytes = address.GetAddressBytes();
        bytes.AsSpan(address.AddressFamily == AddressFamily.InterNetwork ? 3 : 7).Clear();
        return new(bytes);
    }

    /// <inheritdoc/>
    public void Dispose()
    {
        _failures.Dispose();
        _tokens.Dispose();
    }

    /// <summary>One comes back at a time, so that whoever waits hears how long.</summary>
    private static TokenBucketRateLimiterOptions PerMinute(int most) =>
        new()
        {
            TokenLimit = most,
            TokensPerPeriod = 1,
            ReplenishmentPeriod = TimeSpan.FromMinutes(1) / most,
        };
}
