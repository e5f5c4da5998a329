using System.Net.Http.Headers;
using System.Net.Sockets;
using System.Security.Authentication;
using IrrigationFhir.Outbound;

namespace IrrigationFhir.Subscriptions;

/// <summary>
/// Sends one notification to one endpoint, once. No redirect, no proxy, no cookie; of the answer only its status and Retry-After are read.
/// </summary>
internal sealed class NotificationClient(HttpClient http, TimeProvider clock)
{
    /// <summary>Sends it.</summary>
    /// <param name="request">Where to, and with which header lines.</param>
    /// <param name="body">The notification.</param>
    /// <param name="stop">Gives up.</param>
    /// <exception cref="OperationCanceledException">It was given up.</exception>
    public async Task<AttemptOutcome> Send(SubscriptionRequest request, byte[] body, CancellationToken stop)
    {
        using var message = new HttpRequestMessage(HttpMethod.Post, request.Endpoint) { Content = new ByteArrayContent(body) };
        message.Content.Headers.ContentType = MediaTypeHeaderValue.Parse(request.Mime);
        foreach (var line in request.Headers)
        {
            var colon = line.IndexOf(':', StringComparison.Ordinal);
            message.Headers.TryAddWithoutValidation(line[..colon], line[(colon + 1)..].Trim());
        }

        try
        {
            using var response = await http.SendAsync(message, HttpCompletionOption.ResponseHeadersRead, stop);
            return (int)response.StatusCode switch
            {
                >= 200 and < 300 => AttemptOutcome.Acknowledged,
                >= 300 and < 400 => new($"it answered {(int)response.StatusCode}, and redirects are not followed"),
                var status => new($"it answered {status}", DelayIn(response.Headers.RetryAfter)),
            };
        }
        catch (AddressNotAllowed)
        {
            return new("its address is not allowed");
        }
        catch (OperationCanceledException) when (!stop.IsCancellationRequested)
        {
            return new("no connection in time"); // a time limit of the system's, not ours
        }
        catch (HttpRequestException failure)
        {
            return new(Words(failure));
        }
    }

    private static string Words(HttpRequestException failure) =>
        failure switch
        {
            { InnerException: AddressNotAllowed } => "its address is not allowed",
            { InnerException: AuthenticationException } => "its certificate was not accepted, or TLS failed",
            { HttpRequestError: HttpRequestError.SecureConnectionError } => "its certificate was not accepted, or TLS failed",
            { HttpRequestError: HttpRequestError.NameResolutionError } => "its name has no address",
            { InnerException: SocketException { SocketErrorCode: SocketError.HostNotFound } } => "its name has no address",
            { InnerException: SocketException socket } => $"the connection failed ({socket.SocketErrorCode})",
            _ => $"the connection failed ({failure.HttpRequestError})",
        };

    private TimeSpan? DelayIn(RetryConditionHeaderValue? header)
    {
        var after = header?.Delta ?? (header?.Date is { } date ? date - clock.GetUtcNow() : null);
        return after > TimeSpan.Zero ? after : null;
    }
}
