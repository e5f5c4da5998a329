using System.Globalization;
using System.IO.Compression;
using System.Text;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Fuzz;

/// <summary>A request as it goes over the wire, fit or not.</summary>
/// <param name="Body">The bytes.</param>
/// <param name="ContentType">As said, true or not; null where nothing is said.</param>
/// <param name="Encoding">The Content-Encoding, true or not.</param>
/// <param name="Query">What stands behind the address.</param>
/// <param name="Headers">Others.</param>
/// <param name="Chunked">Whether its length is not told.</param>
internal sealed record Spoilt(
    byte[] Body,
    string? ContentType,
    string? Encoding,
    string Query,
    IReadOnlyList<(string Name, string Value)> Headers,
    bool Chunked
);

/// <summary>Spoils a good body in some of the ways in which bodies go wrong; the same chance gives the same body.</summary>
internal sealed class Spoiler(Random chance)
{
    // What stands in a query in place of a value: escapes that are none or say what is no text, and signs that mean something there.
    private static readonly string[] Escapes =
    [
        "%00",
        "%",
        "%zz",
        "%ED%A0%80",
        "%C3%28",
        "+",
        "\\",
        "%5C",
        "%7C%7C%7C",
        "$",
        ",,,",
        "=",
        new('x', 5000),
    ];

    // What stands behind the name of a search parameter.
    private static readonly string[] Modifiers =
    [
        ":not",
        ":missing",
        ":x",
        ".identifier",
        ":Patient.identifier",
        ":identifier",
        ":iterate",
        "",
    ];

    // What stands in place of a value, byte for byte; some of it ends the value early or is no JSON.
    private static readonly string[] Values =
    [
        "null",
        "true",
        "0",
        "-0",
        "-1",
        "1e400",
        "-1e400",
        "1e-400",
        "79228162514264337593543950336",
        "0.1000000000000000000000000000000000000000001",
        "1E+2",
        "01",
        "1.",
        ".5",
        "+1",
        "NaN",
        "Infinity",
        "0x10",
        "123456789012345678901234567890123456789012345678901234567890123456789012345678901234567890",
        "9223372036854775808",
        "\"\"",
        "\" \"",
        "\"0\"",
        "\"null\"",
        "\"2026\"",
        "\"2026-03-14\"",
        "\"2026-02-30T00:00:00Z\"",
        "\"2026-03-14T23:59:60Z\"",
        "\"2026-03-14T09:00:00-00:00\"",
        "\"9999-12-31T23:59:59.999999999Z\"",
        "\"0001-01-01T00:00:00+14:00\"",
        "\"-0001-01-01T00:00:00Z\"",
        "\"2026-03-14T09:00:00.1234567890123Z\"",
        "\"24:00\"",
        "\"99:99\"",
        """ "\ud800" """,
        """ "\udc00\ud800" """,
        """ "\u0000" """,
        """ "a\u0000b" """,
        """ "\u202e\u0301\ufeff" """,
        """ "\ufffe" """,
        """ "\x" """,
        """ "\u12" """,
        "\"\t\"",
        "\"'; drop table entry; --\"",
        "\"%s%n\"",
        "\"{0}\"",
        "\"../../../etc/passwd\"",
        "\"urn:uuid:6f0d7b0e-5a5c-4c4e-9d0a-1f4d1c1f8a11\"",
        "\"#\"",
        "\"#contained\"",
        "\"Observation/1/_history/99999999999999999999\"",
        "\"http://[\"",
        "\"https://irrigationfhir.example/fhir/StructureDefinition/corrected-urine-output|9\"",
        "[]",
        "{}",
        "[null]",
        "[[]]",
        "[{}]",
        "{\"\": 1}",
        "{\"value\": 1}",
        "{\"unit\": \"mL\"}",
        "{\"extension\": [{}]}",
        "{\"resourceType\": \"Patient\"}",
        "{\"resourceType\": \"Bundle\", \"type\": \"batch\"}",
        "{\"__proto__\": {}}",
        "{\"$ref\": \"#\"}",
        "",
        ",",
        "]",
        "}",
        "\"",
        "//",
        "/* */ 1",
        "undefined",
        "1, \"status\": \"final\"",
        "1}, {\"a\": 1",
        "\"x\" \"y\"",
    ];

    private static readonly string[] Names =
    [
        "resourceType",
        "id",
        "meta",
        "text",
        "contained",
        "extension",
        "modifierExtension",
        "identifier",
        "status",
        "code",
        "subject",
        "effectiveInstant",
        "effectiveTiming",
        "valueString",
        "valueRange",
        "valueSampledData",
        "_status",
        "_valueQuantity",
        "component",
        "entry",
        "request",
        "resource",
        "parameter",
        "name",
        "original",
        "kind",
        "volume",
        "at",
        "from",
        "to",
        "",
        " ",
        "\u0000",
        "Status",
        "stat\u0131s",
        "__proto__",
        "fhir_comments",
    ];

    private static readonly string?[] Types =
    [
        null,
        "",
        " ",
        "application/fhir+json",
        "application/json",
        "application/fhir+json; charset=utf-16",
        "application/json; charset=",
        "application/fhir+json; fhirVersion=5.0",
        "application/x-ndjson",
        "application/x-www-form-urlencoded",
        "multipart/form-data",
        "multipart/form-data; boundary=x",
        "text/plain",
        "application/xml",
        "application/fhir+xml",
        "application/",
        "json",
        "*/*",
        "application/fhir+json, application/json",
        "x/y/z",
        "application/json; \"",
    ];

    private static readonly string[] Encodings = ["gzip", "GZIP", "gzip, gzip", "deflate", "br", "identity", "x", "", "gzip;q=0"];

    private static readonly string[] Queries =
    [
        "?",
        "?_format=json",
        "?_format=xml",
        "?_format=",
        "?profile=x",
        "?profile=https://irrigationfhir.example/fhir/StructureDefinition/leak-estimated",
        "?mode=create",
        "?mode=delete",
        "?mode=%00",
        "?_count=-1",
        "?_count=99999999999999999999",
        "?_count=0",
        "?date=%00",
        "?code=%ff%fe",
        "?code=%ED%A0%80",
        "?_sort=-,,",
        "?_page=x",
        "?start=2026-13",
        "?patient=&code=",
        "?identifier=%7C",
        "?identifier=a%7Cb%7Cc",
        "?max=0",
        "?max=x",
        "?value-quantity=gt1e400",
        "?patient.identifier=a&code=b&max=2",
        "?_elements=%22",
        "?a=1&a=2&&&=",
    ];

    private static readonly (string Name, string Value)[] Headers =
    [
        ("Prefer", "handling=lenient"),
        ("Prefer", "handling=strict"),
        ("Prefer", "return=minimal"),
        ("Prefer", "return=OperationOutcome"),
        ("Prefer", ";;,=\""),
        ("If-Match", "W/\"1\""),
        ("If-Match", "*"),
        ("If-Match", "W/\"99999999999999999999\""),
        ("If-Match", "1"),
        ("If-Match", ""),
        ("If-None-Exist", "identifier=x"),
        ("If-None-Exist", "?"),
        ("If-None-Exist", "date=%00&&"),
        ("If-None-Exist", "code:not-a-modifier=x"),
        ("If-None-Match", "*"),
        ("If-Modified-Since", "yesterday"),
        ("Accept", "application/xml"),
        ("Accept", "application/fhir+json; fhirVersion=3.0"),
        ("Accept", ";;"),
        ("Accept", ""),
        ("Accept-Charset", "utf-7"),
        ("X-Forwarded-Host", "\"><script>"),
        ("Range", "bytes=0-1"),
    ];

    /// <summary>Spoils a body in one to three ways; now and then it stays as it is, and only what is said of it is wrong.</summary>
    /// <param name="good">A body that is taken.</param>
    /// <param name="type">Its media type.</param>
    /// <param name="most">Bytes that the service takes.</param>
    public Spoilt Spoil(string good, string type, int most)
    {
        var text = Structure(good);
        var bytes = Bytes(Encoding.UTF8.GetBytes(text), most);
        var (said, encoding) = (OneIn(12) ? Any(Types) : type, OneIn(12) ? Any(Encodings) : null);
        if (encoding is not null && !OneIn(3))
            bytes = Packed(bytes, most);
        var headers = Enumerable.Range(0, OneIn(4) ? chance.Next(1, 4) : 0).Select(_ => Any(Headers)).DistinctBy(h => h.Name).ToList();
        return new(bytes, said, encoding, OneIn(6) ? Any(Queries) : "", headers, OneIn(10));
    }

    /// <summary>Values, names, order, depth; written as text, so that what no JSON library writes can stand there too.</summary>
    private string Structure(string good)
    {
        if (OneIn(12))
            return good;
        if (good[0] is not ('{' or '['))
            return Form(good);
        if (good.Split('\n') is { Length: > 1 } lines)
        {
            // Lines of JSON: one of them is spoilt, the others stay good.
            var bad = chance.Next(lines.Length);
            return string.Join('\n', lines.Select((line, at) => at == bad ? Structure(line) : line));
        }

        var json = JsonNode.Parse(good)!;
        var raw = new List<(string Mark, string Text)>();
        for (var times = chance.Next(1, 4); times > 0; times--)
        {
            var nodes = Nodes(json).ToList();
            if (nodes.Count == 0)
                break;
            var (parent, key) = Any(nodes);
            switch (chance.Next(12))
            {
                case < 5:
                    Put(parent, key, Raw(raw, Any(Values)));
                    break;
                case 5:
                    Put(parent, key, Raw(raw, Deep()));
                    break;
                case 6:
                    var letter = Any("x \u00e9\u4e2d\"\\".ToCharArray()) is var c and not ('"' or '\\') ? c : 'y';
                    Put(parent, key, Raw(raw, $"\"{new string(letter, chance.Next(200, 20_000))}\""));
                    break;
                case 7:
                    Take(parent, key);
                    break;
                case 8 when parent is JsonObject o && key is string name:
                    // The same name twice: with the same value, or another.
                    var value = o[name]?.ToJsonString() ?? "null";
                    o[name] = Raw(raw, $"{value}, {JsonValue.Create(name).ToJsonString()}: {(OneIn(2) ? value : Any(Values))}");
                    break;
                case 9 when parent is JsonObject o:
                    o[Any(Names)] = Raw(raw, Any(Values));
                    break;
                case 10:
                    // A part of it where it does not belong.
                    var (from, at) = Any(nodes);
                    Put(parent, key, (at is int i ? from[i] : from[(string)at])?.DeepClone());
                    break;
                default:
                    Put(parent, key, new JsonArray((key is int index ? parent[index] : parent[(string)key])?.DeepClone()));
                    break;
            }
        }

        var text = json.ToJsonString();
        // What was put in last may hold what was put in before.
        foreach (var (mark, inPlace) in Enumerable.Reverse(raw))
            text = text.Replace(mark, inPlace, StringComparison.Ordinal);
        return text;
    }

    private string Form(string good)
    {
        var pairs = good.Split('&').ToList();
        var at = chance.Next(pairs.Count);
        switch (chance.Next(4))
        {
            case 0:
                pairs[at] = $"{pairs[at].Split('=')[0]}={Uri.EscapeDataString(Any(Values).Trim(' ', '"'))}";
                break;
            case 1:
                pairs[at] = $"{pairs[at].Split('=')[0]}={Any(Escapes)}";
                break;
            case 2:
                pairs[at] = $"{Any(Names)}{Any(Modifiers)}={pairs[at].Split('=')[^1]}";
                break;
            default:
                pairs.AddRange(Any(Queries).TrimStart('?').Split('&'));
                break;
        }

        return string.Join('&', pairs);
    }

    private byte[] Bytes(byte[] body, int most)
    {
        if (OneIn(2) || body.Length == 0)
            return body;
        var at = chance.Next(body.Length);
        switch (chance.Next(14))
        {
            case 0 or 1:
                return body[..at];
            case 2:
                body[at] = (byte)chance.Next(256);
                return body;
            case 3:
                body[at] ^= (byte)(1 << chance.Next(8));
                return body;
            case 4:
                return
                [
                    .. body[..at],
                    .. Any<byte[]>([
                        [0],
                        [0xff],
                        [0xed, 0xa0, 0x80],
                        [0xc0, 0x80],
                        [0xf4, 0x90, 0x80, 0x80],
                        [0xef, 0xbf, 0xbe],
                        [0x1b],
                        "\n"u8.ToArray(),
                    ]),
                    .. body[at..],
                ];
            case 5:
                return [.. body[..at], .. body[Math.Min(body.Length, at + chance.Next(1, 40))..]];
            case 6:
                return [.. body, .. body];
            case 7:
                return [0xef, 0xbb, 0xbf, .. body];
            case 8:
                return (OneIn(2) ? Encoding.Unicode : Encoding.BigEndianUnicode).GetBytes(Encoding.UTF8.GetString(body));
            case 9:
                return Encoding.Latin1.GetBytes(Encoding.UTF8.GetString(body));
            case 10:
                return [];
            case 11:
                return [.. Enumerable.Repeat((byte)' ', chance.Next(most)), .. body];
            case 12 when OneIn(4):
                return [.. body, .. Enumerable.Repeat((byte)' ', most)];
            default:
                return [.. body[..at], .. body[chance.Next(body.Length)..]];
        }
    }

    private byte[] Packed(byte[] body, int most)
    {
        using var packed = new MemoryStream();
        using (var gzip = new GZipStream(packed, CompressionLevel.Fastest, leaveOpen: true))
            gzip.Write(OneIn(8) ? new byte[20 * most] : body);
        var bytes = packed.ToArray();
        return chance.Next(6) switch
        {
            0 => bytes[..chance.Next(bytes.Length)],
            1 => [.. bytes, 0, 1, 2],
            2 when bytes.Length > 11 => [.. bytes[..10], .. bytes[11..]],
            _ => bytes,
        };
    }

    private string Deep()
    {
        var depth = Any([2, 30, 60, 63, 64, 65, 200, 5_000]);
        var (open, close) = OneIn(2) ? ("[", "]") : (Any(["{\"a\": ", "{\"extension\": ", "{\"contained\": ", "{\"parameter\": "]), "}");
        return string.Concat(Enumerable.Repeat(open, depth)) + "1" + string.Concat(Enumerable.Repeat(close, OneIn(8) ? depth - 1 : depth));
    }

    private static JsonNode Raw(List<(string Mark, string Text)> raw, string text)
    {
        var mark = string.Create(CultureInfo.InvariantCulture, $"raw-{raw.Count}-");
        raw.Add(($"\"{mark}\"", text));
        return JsonValue.Create(mark);
    }

    private static void Put(JsonNode parent, object key, JsonNode? value)
    {
        if (key is int index)
            parent[index] = value;
        else
            parent[(string)key] = value;
    }

    private static void Take(JsonNode parent, object key)
    {
        if (key is int index)
            parent.AsArray().RemoveAt(index);
        else
            parent.AsObject().Remove((string)key);
    }

    private static IEnumerable<(JsonNode Parent, object Key)> Nodes(JsonNode? json) =>
        json switch
        {
            JsonObject o => o.SelectMany(p => Nodes(p.Value).Prepend((o, p.Key))),
            JsonArray list => list.SelectMany((item, i) => Nodes(item).Prepend((list, i))),
            _ => [],
        };

    private bool OneIn(int many) => chance.Next(many) == 0;

    private T Any<T>(IReadOnlyList<T> from) => from[chance.Next(from.Count)];
}
