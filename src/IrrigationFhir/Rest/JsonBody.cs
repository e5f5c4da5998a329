using System.Buffers.Text;
using System.Text;
using System.Text.Json;
using Irrigation.Episodes;

namespace IrrigationFhir.Rest;

/// <summary>The body of a request, parsed, or what is wrong with it as a whole.</summary>
internal sealed record JsonBody(IReadOnlyList<JsonElement> Items, EntryProblem? Problem)
{
    /// <summary>Deeper nesting than this is refused; an entry needs three levels.</summary>
    public const int DeepestNesting = 64;

    private static readonly JsonDocumentOptions Options = new() { MaxDepth = DeepestNesting, AllowDuplicateProperties = false };
    private static readonly UTF8Encoding Utf8 = new(encoderShouldEmitUTF8Identifier: false, throwOnInvalidBytes: true);

    /// <summary>Reads one JSON value: an object, or a list of them.</summary>
    public static async Task<JsonBody> ReadJson(HttpRequest request, CancellationToken stop)
    {
        var bytes = await ReadAll(request, stop);
        if (Check(bytes.Span) is { } problem)
            return new([], problem);
        var (root, fault) = Parse(bytes, "body");
        if (fault is not null)
            return new([], fault);
        return new(root.ValueKind == JsonValueKind.Array ? [.. root.EnumerateArray()] : [root], null);
    }

    /// <summary>Reads NDJSON: one object a line, blank lines passed over.</summary>
    public static async Task<JsonBody> ReadLines(HttpRequest request, CancellationToken stop)
    {
        var bytes = await ReadAll(request, stop);
        if (Check(bytes.Span) is { } problem)
            return new([], problem);
        var items = new List<JsonElement>();
        var number = 0;
        for (var from = 0; from < bytes.Length; number++)
        {
            var length = bytes.Span[from..].IndexOf((byte)'\n');
            var line = length < 0 ? bytes[from..] : bytes.Slice(from, length);
            from = length < 0 ? bytes.Length : from + length + 1;
            if (line.Span.Trim(" \t\r"u8).IsEmpty)
                continue;
            var (item, fault) = Parse(line, $"line {number + 1}");
            if (fault is not null)
                return new([], fault);
            items.Add(item);
        }

        return new(items, null);
    }

    /// <summary>Reads bytes that are one JSON value, as strictly as a body of this API.</summary>
    public static (JsonElement Root, EntryProblem? Fault) ReadOne(ReadOnlyMemory<byte> bytes) =>
        Check(bytes.Span) is { } problem ? (default, problem) : Parse(bytes, "body");

    /// <summary>The bytes of a body, as they came or were unpacked.</summary>
    public static async Task<ReadOnlyMemory<byte>> ReadAll(HttpRequest request, CancellationToken stop)
    {
        using var body = new MemoryStream();
        await request.Body.CopyToAsync(body, stop);
        return body.ToArray();
    }

    private static EntryProblem? Check(ReadOnlySpan<byte> bytes)
    {
        if (bytes.StartsWith("\ufeff"u8))
            return new("byte-order-mark", "body", "a byte order mark", "UTF-8 without one (RFC 8259, 8.1)");
        if (bytes.Trim(" \t\r\n"u8).IsEmpty)
            return new("malformed-json", "body", "an empty body", "one entry, a list of entries, or one entry a line");
        try
        {
            Utf8.GetCharCount(bytes);
        }
        catch (DecoderFallbackException)
        {
            return new("malformed-json", "body", "bytes that are not UTF-8", "JSON in UTF-8");
        }

        if (HoldsHalfACharacter(bytes))
            return new(
                "half-character",
                "body",
                "an escape \\ud800 to \\udfff without its other half",
                "surrogates in pairs: nothing that is Unicode can be made of one (RFC 8259, 8.2)"
            );
        return Nesting(bytes) > DeepestNesting
            ? new("too-deep", "body", $"JSON nested deeper than {DeepestNesting} levels", "an entry: three levels at most")
            : null;
    }

    /// <summary>Beware: System.Text.Json takes such an escape while it parses, and throws when its text is read.</summary>
    private static bool HoldsHalfACharacter(ReadOnlySpan<byte> bytes)
    {
        for (var i = bytes.IndexOf((byte)'\\'); i >= 0 && i < bytes.Length; i++)
        {
            if (bytes[i] != '\\')
                continue;
            if (Escaped(bytes[i..]) is { } unit && unit is >= 0xD800 and <= 0xDFFF)
            {
                if (unit >= 0xDC00 || Escaped(bytes[Math.Min(i + 6, bytes.Length)..]) is not (>= 0xDC00 and <= 0xDFFF))
                    return true;
                i += 6;
            }

            // Past what is escaped, be it a backslash.
            i++;
        }

        return false;

        static int? Escaped(ReadOnlySpan<byte> at) =>
            at.Length >= 6 && at.StartsWith("\\u"u8) && Utf8Parser.TryParse(at[2..6], out int unit, out var read, 'x') && read == 4
                ? unit
                : null;
    }

    private static int Nesting(ReadOnlySpan<byte> bytes)
    {
        int depth = 0,
            deepest = 0;
        var text = false;
        for (var i = 0; i < bytes.Length; i++)
        {
            switch (bytes[i])
            {
                case (byte)'"':
                    text = !text;
                    break;
                case (byte)'\\' when text:
                    i++;
                    break;
                case (byte)'{' or (byte)'[' when !text:
                    deepest = Math.Max(deepest, ++depth);
                    break;
                case (byte)'}' or (byte)']' when !text:
                    depth--;
                    break;
            }
        }

        return deepest;
    }

    private static (JsonElement Root, EntryProblem? Fault) Parse(ReadOnlyMemory<byte> bytes, string where)
    {
        try
        {
            using var document = JsonDocument.Parse(bytes, Options);
            return (document.RootElement.Clone(), null);
        }
        catch (JsonException) when (Repeated(bytes, where) is { } repeated)
        {
            return (default, EntryProblem.RepeatedProperty(repeated));
        }
        catch (JsonException fault)
        {
            // The exception's own text may quote the body; only its position is passed on.
            var position = $"unreadable JSON at line {(fault.LineNumber ?? 0) + 1}, byte {(fault.BytePositionInLine ?? 0) + 1}";
            return (default, new("malformed-json", where, position, "well-formed JSON (RFC 8259)"));
        }
    }

    /// <summary>Path of a property that is named twice; null where there is none, or the JSON is unreadable even so.</summary>
    private static string? Repeated(ReadOnlyMemory<byte> bytes, string where)
    {
        try
        {
            using var document = JsonDocument.Parse(bytes, Options with { AllowDuplicateProperties = true });
            return Repeated(document.RootElement, where);
        }
        catch (JsonException)
        {
            return null;
        }
    }

    private static string? Repeated(JsonElement json, string path)
    {
        if (json.ValueKind == JsonValueKind.Array)
            return json.EnumerateArray().Select((item, i) => Repeated(item, $"{path}[{i}]")).FirstOrDefault(found => found is not null);
        if (json.ValueKind != JsonValueKind.Object)
            return null;
        var names = new HashSet<string>();
        return json.EnumerateObject()
            .Select(p => names.Add(p.Name) ? Repeated(p.Value, $"{path}.{p.Name}") : $"{path}.{p.Name}")
            .FirstOrDefault(found => found is not null);
    }
}
