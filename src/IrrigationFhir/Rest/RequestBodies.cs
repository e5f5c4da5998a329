using System.IO.Compression;
using IrrigationFhir.Problems;
using Microsoft.AspNetCore.Http.Features;
using Microsoft.AspNetCore.Http.Metadata;

namespace IrrigationFhir.Rest;

/// <summary>Reads the body of a request whole before anybody works on it, unpacks it, and gives up on who sends too slowly.</summary>
/// <remarks>
/// Whoever drips a body byte by byte so holds a connection and nothing else: no place, no thread, no turn. A limit holds before and
/// after unpacking, for a few packed bytes may be many.
/// </remarks>
internal static class RequestBodies
{
    /// <summary>Bytes that describe one thing, such as an episode or a search, and never more.</summary>
    private const long SmallBody = 256 * 1024;

    private static readonly Dictionary<string, Func<Stream, Stream>> Unpacking = new()
    {
        ["gzip"] = packed => new GZipStream(packed, CompressionMode.Decompress, leaveOpen: true),
        ["br"] = packed => new BrotliStream(packed, CompressionMode.Decompress, leaveOpen: true),
    };

    /// <summary>Limits a route to a body that describes one thing, or to the site's own limit where that is less.</summary>
    public static TBuilder TakesLittle<TBuilder>(this TBuilder route, IServiceProvider services)
        where TBuilder : IEndpointConventionBuilder =>
        route.WithMetadata(new BodyLimit(Math.Min(SmallBody, services.GetRequiredService<FhirSettings>().MaxBodyBytes)));

    /// <summary>The largest body that a request may have, in bytes: that of its route, or of the site.</summary>
    public static long LimitOf(HttpContext context) =>
        context.Features.Get<IHttpMaxRequestBodySizeFeature>()?.MaxRequestBodySize
        ?? context.RequestServices.GetRequiredService<FhirSettings>().MaxBodyBytes;

    /// <summary>Reads the body into memory; what stands against it, or null.</summary>
    public static async Task<OutcomeResult?> Read(HttpContext context)
    {
        var comes = context.Features.Get<IHttpRequestBodyDetectionFeature>() is { CanHaveBody: true };
        if (!comes || context.GetEndpoint() is null)
            return null;
        var (request, settings) = (context.Request, context.RequestServices.GetRequiredService<FhirSettings>());
        var encoding = request.Headers.ContentEncoding.ToString().Trim().ToLowerInvariant();
        if (encoding is not ("" or "identity") && !Unpacking.ContainsKey(encoding))
        {
            context.Response.Headers.AcceptEncoding = string.Join(", ", Unpacking.Keys); // RFC 9110, 12.5.3
            return Refuse(415, "unsupported-media-type", "Content-Encoding", encoding, "gzip, br or none");
        }

        var limit = LimitOf(context);
        using var deadline = CancellationTokenSource.CreateLinkedTokenSource(context.RequestAborted);
        deadline.CancelAfter(settings.BodyDeadline);
        var (body, unpacked) = (new MemoryStream(), Unpacking.ContainsKey(encoding));
        try
        {
            await using var source = Unpacking.TryGetValue(encoding, out var unpack) ? unpack(request.Body) : request.Body;
            var portion = new byte[16 * 1024];
            for (int read; (read = await source.ReadAsync(portion, deadline.Token)) > 0; )
            {
                if (body.Length + read > limit)
                {
                    const string saw = "a body that is larger than the limit once decompressed";
                    var smaller = $"at most {limit} bytes; send several smaller requests";
                    return Refuse(413, "body-too-large", "body", saw, smaller);
                }

                body.Write(portion, 0, read);
            }
        }
        catch (Exception fault) when (fault is InvalidDataException || (encoding == "br" && fault is InvalidOperationException))
        {
            return encoding == "br"
                ? Refuse(
                    400,
                    "malformed-brotli",
                    "body",
                    "bytes that are not Brotli",
                    "a Brotli stream (RFC 7932), as Content-Encoding says"
                )
                : Refuse(400, "malformed-gzip", "body", "bytes that are not gzip", "a gzip stream (RFC 1952), as Content-Encoding says");
        }
        catch (OperationCanceledException) when (!context.RequestAborted.IsCancellationRequested)
        {
            context.Response.Headers.Connection = "close"; // what is still to come is not waited for
            var late = $"a body that has not come within {settings.BodySeconds} s";
            return Refuse(408, "body-too-slow", "body", late, "the body without a pause");
        }

        body.Position = 0;
        request.Body = body;
        if (unpacked)
            request.Headers.ContentLength = body.Length;
        request.Headers.Remove("Content-Encoding");
        return null;
    }

    private static OutcomeResult Refuse(int status, string code, string where, string saw, string expected) =>
        new(status, Outcome.Problem(code, saw, expected, where));

    /// <summary>The largest body of a route, in bytes.</summary>
    private sealed record BodyLimit(long? MaxRequestBodySize) : IRequestSizeLimitMetadata;
}
