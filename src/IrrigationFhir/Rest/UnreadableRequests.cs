using System.Buffers;
using System.Globalization;
using System.IO.Pipelines;
using System.Text;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using Microsoft.AspNetCore.Server.Kestrel.Core;

namespace IrrigationFhir.Rest;

/// <summary>
/// Requests that the server itself cannot read (a line or headers over their limit, broken escapes) reach no middleware: the bare answer
/// that it gives them gets its OperationOutcome on the way out.
/// </summary>
/// <remarks>
/// Kestrel has no hook for that answer: its diagnostic event comes before there is a body to write to. So the connection's output is
/// looked at where an answer begins. Only one of status 4xx that closes the connection and has neither type nor content is added to;
/// no handler of this service gives such a one.
/// </remarks>
internal static class UnreadableRequests
{
    private static readonly byte[] Begins = "HTTP/1.1 4"u8.ToArray();
    private static readonly byte[] Empty = "\r\nContent-Length: 0\r\n"u8.ToArray();
    private static readonly byte[] Closes = "\r\nConnection: close\r\n"u8.ToArray();
    private static readonly byte[] Typed = "\r\nContent-Type:"u8.ToArray();
    private static readonly byte[] Ends = "\r\n\r\n"u8.ToArray();

    /// <summary>Sees to it on every endpoint.</summary>
    /// <param name="endpoint">Where it listens.</param>
    /// <param name="vocabulary">In whose words.</param>
    public static void Answer(ListenOptions endpoint, Vocabulary vocabulary) =>
        endpoint.Use(next =>
            async connection =>
            {
                var transport = connection.Transport;
                connection.Transport = new Looked(transport.Input, new AnswerWriter(transport.Output, vocabulary));
                try
                {
                    await next(connection);
                }
                finally
                {
                    connection.Transport = transport;
                }
            }
        );

    /// <summary>What is said of a status that the server gives before it has read a request.</summary>
    public static OutcomeResult For(int status)
    {
        var (code, saw, expected) = status switch
        {
            StatusCodes.Status414UriTooLong => (
                "address-too-long",
                "a request line over the limit",
                "8 KiB at most; a search takes its parameters as a form too, by POST to _search"
            ),
            StatusCodes.Status431RequestHeaderFieldsTooLarge => (
                "headers-too-large",
                "headers over the limit",
                "64 headers of 16 KiB together at most"
            ),
            _ => ("bad-request", "a request that cannot be read", "well-formed HTTP and JSON as the contract describes"),
        };
        return new(status, Outcome.Problem(code, saw, expected, null));
    }

    /// <summary>The answer with an OperationOutcome; null where it has a body already, or is no refusal.</summary>
    private static byte[]? Told(ReadOnlySpan<byte> answer, Vocabulary vocabulary)
    {
        if (
            !answer.StartsWith(Begins)
            || !answer.EndsWith(Ends)
            || answer.IndexOf(Empty) < 0
            || answer.IndexOf(Closes) < 0
            || answer.IndexOf(Typed) >= 0
            || !int.TryParse(answer.Slice(Begins.Length - 1, 3), NumberStyles.None, CultureInfo.InvariantCulture, out var status)
        )
            return null;
        var json = For(status).Json(vocabulary);
        var headers = Encoding
            .ASCII.GetString(answer)
            .Replace(
                "\r\nContent-Length: 0\r\n",
                $"\r\nContent-Type: {FhirReply.MediaType}; charset=utf-8\r\nContent-Length: {json.Length}\r\n",
                StringComparison.Ordinal
            );
        return [.. Encoding.ASCII.GetBytes(headers), .. json.Span];
    }

    private sealed class Looked(PipeReader input, PipeWriter output) : IDuplexPipe
    {
        public PipeReader Input => input;

        public PipeWriter Output => output;
    }

    /// <summary>Passes everything on as it is, but for a bare refusal.</summary>
    private sealed class AnswerWriter(PipeWriter inner, Vocabulary vocabulary) : PipeWriter
    {
        private Memory<byte> given;

        public override bool CanGetUnflushedBytes => inner.CanGetUnflushedBytes;

        public override long UnflushedBytes => inner.UnflushedBytes;

        public override Memory<byte> GetMemory(int sizeHint = 0) => given = inner.GetMemory(sizeHint);

        public override Span<byte> GetSpan(int sizeHint = 0) => GetMemory(sizeHint).Span;

        public override void Advance(int bytes)
        {
            // What was written and not advanced over is written over.
            if (Told(given.Span[..Math.Min(bytes, given.Length)], vocabulary) is { } told)
                inner.Write(told);
            else
                inner.Advance(bytes);
            given = default;
        }

        public override void CancelPendingFlush() => inner.CancelPendingFlush();

        public override void Complete(Exception? exception = null) => inner.Complete(exception);

        public override ValueTask CompleteAsync(Exception? exception = null) => inner.CompleteAsync(exception);

        public override ValueTask<FlushResult> FlushAsync(CancellationToken cancellationToken = default) =>
            inner.FlushAsync(cancellationToken);

        public override ValueTask<FlushResult> WriteAsync(ReadOnlyMemory<byte> source, CancellationToken cancellationToken = default) =>
            inner.WriteAsync(source, cancellationToken);
    }
}
