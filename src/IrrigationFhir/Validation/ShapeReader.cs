using System.Buffers;
using System.Globalization;
using System.Text;
using System.Text.Json;

namespace IrrigationFhir.Validation;

/// <summary>What a leaf is whose very value is not part of a shape.</summary>
internal enum LeafKind
{
    /// <summary>A dateTime or instant with an offset.</summary>
    Time,

    /// <summary>An end of a period: a dateTime with an offset, to the second.</summary>
    EndOfPeriod,

    /// <summary>A number, or a text without breaks: the value of a quantity or of an identifier.</summary>
    Value,

    /// <summary>A text for people, without breaks.</summary>
    Text,

    /// <summary>A reference: its type is kept, and whether it names a version.</summary>
    Reference,

    /// <summary>A narrative in the form of <see cref="Fhir.Narratives"/>: its tags are kept.</summary>
    Narrative,
}

/// <summary>Finds the shape of a resource: what of it decides whether it is valid.</summary>
/// <remarks>
/// <para>
/// A shape is the JSON itself, in one pass, with those leaves replaced by their kind that no rule asks for by their very value
/// (<see cref="Leaves"/>, and the resource's id). Each of them is checked here for the plainest form of its kind; one in another form stays
/// as it is. Property names, structure, codes, systems, URLs, statuses, units and whatever else there is stay as they are.
/// </para>
/// <para>
/// Where an invariant compares such leaves, the outcome is part of the shape: whether a number is below, at or above zero, a percentage
/// above 100, a score above 10 or broken; the order of a period's ends and of a range's; whether an effectivePeriod has exactly the length
/// of a timed code; the best estimate and the threshold against both ends of the interval. <c>ShapeTests</c> goes through every invariant
/// and every fixed value of every profile, and fails for one that reads a leaf in a way that is not named there.
/// </para>
/// <para>Neighbours in <c>derivedFrom</c> and <c>target</c> that look alike are one of them and how many: one, two, or more.</para>
/// <para>Not for several threads; its buffers are used again.</para>
/// </remarks>
internal sealed class ShapeReader
{
    // Control bytes: none of them stands in a JSON text, so that no two shapes read alike.
    private const byte AnId = 1;
    private const byte ATime = 2;
    private const byte AText = 3;
    private const byte AReference = 4;
    private const byte ANumber = 5; // and its sign
    private const byte AComparison = 6; // and its outcomes
    private const byte SoMany = 7;
    private const byte AVersion = 8;
    private const byte ANarrative = 11;

    private const int LongestNumber = 17;
    private const int LongestText = 4000;
    private const int LongestId = 64;
    private const int Deepest = 64;

    /// <summary>The types that have shapes: those of which many are written. Any other is judged in full.</summary>
    public static IReadOnlyList<string> Types { get; } = ["Flag", "Observation", "Procedure", "Provenance"];

    /// <summary>The leaves that are replaced, by the name of their property.</summary>
    public static IReadOnlyDictionary<string, LeafKind> Leaves { get; } =
        new Dictionary<string, LeafKind>
        {
            ["effectiveDateTime"] = LeafKind.Time,
            ["occurredDateTime"] = LeafKind.Time,
            ["performedDateTime"] = LeafKind.Time,
            ["valueDateTime"] = LeafKind.Time,
            ["issued"] = LeafKind.Time,
            ["recorded"] = LeafKind.Time,
            ["start"] = LeafKind.EndOfPeriod,
            ["end"] = LeafKind.EndOfPeriod,
            ["value"] = LeafKind.Value,
            ["valueDecimal"] = LeafKind.Value,
            ["text"] = LeafKind.Text,
            ["display"] = LeafKind.Text,
            ["valueString"] = LeafKind.Text,
            ["reference"] = LeafKind.Reference,
            ["div"] = LeafKind.Narrative,
        };

    /// <summary>Components whose numbers invariants compare with one another. Twice in one Observation, and it has no shape.</summary>
    public static IReadOnlyList<string> Compared { get; } = ["best-estimate", "interval-95", "criterion-threshold"];

    private static readonly (byte[] Utf8, string Name)[] Names =
    [
        .. new[] { "code", "component", "derivedFrom", "effectivePeriod", "high", "id", "low", "target", "valueQuantity", "valueRange" }
            .Concat(Leaves.Keys)
            .Select(name => (Encoding.UTF8.GetBytes(name), name)),
    ];

    // As the narrative stands in the JSON, its quotes escaped.
    private static readonly byte[] Opens = Encoding.UTF8.GetBytes(Fhir.Narratives.Opens.Replace("\"", "\\\"", StringComparison.Ordinal));
    private static readonly byte[] Closes = Encoding.UTF8.GetBytes(Fhir.Narratives.Closes);
    private static readonly byte[][] ComparedCodes = [.. Compared.Select(Encoding.UTF8.GetBytes)];

    private readonly Level[] levels = new Level[Deepest];
    private readonly (bool Seen, decimal? Number, decimal? Low, decimal? High)[] compared = new (bool, decimal?, decimal?, decimal?)[3];
    private byte[] key = new byte[8192];
    private int depth;
    private int length;
    private int component; // which of the compared components is being read; -1 for another

    /// <summary>The shape that was found last.</summary>
    public ReadOnlySpan<byte> Found => key.AsSpan(0, length);

    /// <summary>Finds the shape of a resource.</summary>
    /// <param name="json">As it is stored: elements in the order of the specification, without blanks.</param>
    /// <returns>False for a resource that has to be judged in full.</returns>
    public bool Read(ReadOnlySpan<byte> json)
    {
        (depth, length, component) = (0, 0, -1);
        Array.Clear(compared);
        var reader = new Utf8JsonReader(json);
        while (reader.Read())
        {
            if (!Take(ref reader))
                return false;
        }

        return true;
    }

    private ref Level Innermost => ref levels[depth - 1];

    private bool Take(ref Utf8JsonReader reader)
    {
        switch (reader.TokenType)
        {
            case JsonTokenType.PropertyName:
                Innermost.Property = NameOf(reader.ValueSpan);
                Keep(reader.ValueSpan);
                Mark((byte)':');
                return Innermost.Property != "contained"; // what is compared in there would have to be remembered apart
            case JsonTokenType.StartObject:
                Open(isArray: false, (byte)'{');
                return true;
            case JsonTokenType.StartArray:
                Open(isArray: true, (byte)'[');
                return true;
            case JsonTokenType.EndObject:
                return CloseObject();
            case JsonTokenType.EndArray:
                CloseArray();
                return true;
            case JsonTokenType.String or JsonTokenType.Number:
                return Leaf(ref reader);
            default:
                Keep(reader.ValueSpan); // true, false or null
                Mark((byte)',');
                return true;
        }
    }

    private void Open(bool isArray, byte mark)
    {
        var name =
            depth == 0 ? ""
            : Innermost.IsArray ? Innermost.In
            : Innermost.Property;
        if (depth == 2 && Innermost is { IsArray: true, In: "component" })
            component = -1;
        if (depth > 0)
            Innermost.BeginElement(length);
        levels[depth++] = new()
        {
            IsArray = isArray,
            In = name,
            Property = "",
        };
        Mark(mark);
    }

    private void CloseArray()
    {
        if (depth == 2 && Innermost.IsFolded)
        {
            Mark(SoMany);
            Mark((byte)('0' + Math.Min(Innermost.Elements, 3)));
        }

        Mark((byte)']');
        depth--;
    }

    private bool CloseObject()
    {
        var closed = Innermost;
        depth--;
        CompareWithin(closed);
        if (depth == 0)
            CompareComponents();
        else if (!Remember(closed))
            return false;
        Mark((byte)'}');
        if (depth == 2 && Innermost.IsFolded)
            Fold(ref Innermost);
        return true;
    }

    /// <summary>An element like the one before it adds to their number only.</summary>
    private void Fold(ref Level list)
    {
        var element = key.AsSpan(list.ElementStart, length - list.ElementStart);
        if (list.Elements > 1 && element.SequenceEqual(key.AsSpan(list.StartBefore, list.ElementStart - list.StartBefore)))
            (length, list.ElementStart) = (list.ElementStart, list.StartBefore);
    }

    private bool Leaf(ref Utf8JsonReader reader)
    {
        ref var level = ref Innermost;
        if (!level.IsArray)
        {
            if (depth == 1 && level.Property == "id" && IsId(reader.ValueSpan))
            {
                Mark(AnId);
                return true;
            }

            if (Leaves.TryGetValue(level.Property, out var kind) && Replace(kind, ref reader, ref level) is { } replaced)
                return replaced;
            if (level.Property == "code" && !Coded(reader.ValueSpan, ref level))
                return false;
        }

        var mark = reader.TokenType == JsonTokenType.String ? (byte)'"' : (byte)',';
        Mark(mark);
        Keep(reader.ValueSpan);
        Mark(mark);
        return true;
    }

    /// <summary>Puts the kind of a leaf in its place; null where it stays as it is, false where the resource has no shape.</summary>
    private bool? Replace(LeafKind kind, ref Utf8JsonReader reader, ref Level level)
    {
        var isNumber = reader.TokenType == JsonTokenType.Number;
        switch (kind)
        {
            case LeafKind.Time when MomentOf(reader.ValueSpan, toTheSecond: false) is not null:
                Mark(ATime);
                return true;
            case LeafKind.EndOfPeriod:
                if (MomentOf(reader.ValueSpan, toTheSecond: true) is not { } end)
                    return false;
                if (level.Property == "start")
                    level.Start = end;
                else
                    level.End = end;
                Mark(ATime);
                return true;
            case LeafKind.Value when isNumber:
                if (reader.ValueSpan.Length > LongestNumber || !reader.TryGetDecimal(out var number))
                    return false;
                level.Number = number;
                Mark(ANumber);
                Mark(Sign(number.CompareTo(0)));
                return true;
            case LeafKind.Value or LeafKind.Text when !isNumber && !reader.ValueIsEscaped && IsPlainText(reader.ValueSpan):
                Mark(AText);
                return true;
            case LeafKind.Reference when WithoutVersion(reader.ValueSpan) is var target && PlaceOfId(target) is var place and > 0:
                Keep(target[..place]);
                Mark(AReference);
                if (target.Length < reader.ValueSpan.Length)
                    Mark(AVersion);
                return true;
            case LeafKind.Narrative when !isNumber:
                var before = length;
                if (Told(reader.ValueSpan))
                    return true;
                length = before;
                return null;
            default:
                return null;
        }
    }

    /// <summary>
    /// A unit decides within which limits a number may lie, the code of a component what its numbers are compared with. False where that
    /// is more than one thing.
    /// </summary>
    private bool Coded(ReadOnlySpan<byte> code, ref Level level)
    {
        level.Most =
            code.SequenceEqual("%"u8) ? 100
            : code.SequenceEqual("{score}"u8) ? 10
            : null;
        if (depth < 4 || levels[1] is not { IsArray: true, In: "component" } || levels[2].Property != "code")
            return true;
        var found = ComparedCodes.Length - 1;
        while (found >= 0 && !code.SequenceEqual(ComparedCodes[found]))
            found--;
        if (found < 0)
            return true;
        if (component >= 0)
            return false;
        component = found;
        return true;
    }

    private void CompareWithin(in Level closed)
    {
        if (closed is { Number: { } number, Most: { } most })
        {
            Mark(AComparison);
            Mark(Sign(number.CompareTo(most)));
            Mark(number == decimal.Truncate(number) ? (byte)'w' : (byte)'b');
        }

        if (closed is { Start: { } start, End: { } end })
        {
            Mark(AComparison);
            Mark(Sign(end.CompareTo(start)));
            var hours = closed.In == "effectivePeriod" ? (end - start).TotalHours : 0;
            Mark(hours is 1 or 8 or 12 or 24 ? (byte)('a' + (int)hours) : (byte)'-');
        }

        if (closed is { Low: { } low, High: { } high })
        {
            Mark(AComparison);
            Mark(Sign(high.CompareTo(low)));
        }
    }

    /// <summary>Keeps numbers for a comparison further on. False where a component that is compared stands twice.</summary>
    private bool Remember(in Level closed)
    {
        ref var around = ref Innermost;
        if (closed is { Number: { } low, In: "low" })
            around.Low = low;
        if (closed is { Number: { } high, In: "high" })
            around.High = high;
        if (component < 0 || depth != 3 || closed.In is not ("valueQuantity" or "valueRange"))
            return true;
        ref var remembered = ref compared[component];
        if (remembered.Seen)
            return false;
        remembered = (true, closed.Number, closed.Low, closed.High);
        return true;
    }

    private void CompareComponents()
    {
        var (best, interval, threshold) = (compared[0], compared[1], compared[2]);
        foreach (var number in (ReadOnlySpan<decimal?>)[best.Number, threshold.Number])
        {
            foreach (var end in (ReadOnlySpan<decimal?>)[interval.Low, interval.High])
            {
                Mark(AComparison);
                Mark(number is { } value && end is { } limit ? Sign(value.CompareTo(limit)) : (byte)'?');
            }
        }
    }

    private static byte Sign(int compared) =>
        compared switch
        {
            < 0 => (byte)'<',
            0 => (byte)'=',
            > 0 => (byte)'>',
        };

    private static bool IsId(ReadOnlySpan<byte> text)
    {
        if (text.Length is 0 or > LongestId)
            return false;
        foreach (var letter in text)
        {
            if (!char.IsAsciiLetterOrDigit((char)letter) && letter is not ((byte)'-' or (byte)'.'))
                return false;
        }

        return true;
    }

    /// <summary>Where the id of a plain relative reference begins; 0 where it is none.</summary>
    private static int PlaceOfId(ReadOnlySpan<byte> reference)
    {
        var slash = reference.IndexOf((byte)'/');
        if (slash <= 0 || !IsId(reference[(slash + 1)..]))
            return 0;
        foreach (var letter in reference[..slash])
        {
            if (!char.IsAsciiLetter((char)letter))
                return 0;
        }

        return slash + 1;
    }

    /// <summary>A reference without the version that it names, which is a number as the store counts: from 1.</summary>
    private static ReadOnlySpan<byte> WithoutVersion(ReadOnlySpan<byte> reference)
    {
        var at = reference.IndexOf("/_history/"u8);
        if (at < 0)
            return reference;
        var version = reference[(at + "/_history/"u8.Length)..];
        return version.Length is > 0 and < 10 && version[0] != '0' && version.IndexOfAnyExceptInRange((byte)'0', (byte)'9') < 0
            ? reference[..at]
            : reference;
    }

    /// <summary>Keeps the tags of a narrative in exactly the form of the template, and marks its texts; false for any other.</summary>
    /// <param name="div">As it stands in the JSON, its quotes escaped.</param>
    private bool Told(ReadOnlySpan<byte> div)
    {
        if (!div.StartsWith(Opens) || !div.EndsWith(Closes) || div.Length < Opens.Length + Closes.Length)
            return false;
        Mark(ANarrative);
        var rest = div[Opens.Length..^Closes.Length];
        if (rest.IsEmpty)
            return false;
        while (!rest.IsEmpty)
        {
            var isTitle = rest.StartsWith("<p><b>"u8);
            var opens = isTitle ? "<p><b>"u8 : "<p>"u8;
            var closes = isTitle ? "</b></p>"u8 : "</p>"u8;
            if (!rest.StartsWith(opens))
                return false;
            rest = rest[opens.Length..];
            var end = rest.IndexOf((byte)'<');
            if (end < 0 || !IsEscapedText(rest[..end]) || !rest[end..].StartsWith(closes))
                return false;
            rest = rest[(end + closes.Length)..];
            Mark(isTitle ? (byte)'b' : (byte)'p');
            Mark(AText);
        }

        return true;
    }

    /// <summary>Plain text in which what XML and JSON set apart is escaped as the template escapes it.</summary>
    private static bool IsEscapedText(ReadOnlySpan<byte> text)
    {
        if (!IsPlainText(text) || text.IndexOfAny((byte)'>', (byte)'\\', (byte)'"') >= 0)
            return false;
        for (var rest = text; rest.IndexOf((byte)'&') is var at and >= 0; )
        {
            rest = rest[(at + 1)..];
            var end = rest.IndexOf((byte)';');
            if (end <= 0)
                return false;
            var name = rest[..end];
            var isNumber =
                name[0] == '#'
                && int.TryParse(name[1..], NumberStyles.None, CultureInfo.InvariantCulture, out var number)
                && (number == '\'' || number >= 160)
                && Rune.IsValid(number);
            if (
                !isNumber
                && !name.SequenceEqual("amp"u8)
                && !name.SequenceEqual("lt"u8)
                && !name.SequenceEqual("gt"u8)
                && !name.SequenceEqual("quot"u8)
            )
                return false;
            rest = rest[(end + 1)..];
        }

        return true;
    }

    /// <summary>A text without breaks that neither begins nor ends with a blank.</summary>
    private static bool IsPlainText(ReadOnlySpan<byte> text)
    {
        if (text.Length is 0 or > LongestText)
            return false;
        var (first, last) = (true, default(Rune));
        for (var rest = text; !rest.IsEmpty; first = false)
        {
            if (Rune.DecodeFromUtf8(rest, out last, out var read) != OperationStatus.Done || Rune.IsControl(last))
                return false;
            if (first && Rune.IsWhiteSpace(last))
                return false;
            rest = rest[read..];
        }

        return !Rune.IsWhiteSpace(last);
    }

    /// <summary>A dateTime in its plainest form, as 2026-03-02T08:00:00+01:00; null where it is none.</summary>
    private static DateTimeOffset? MomentOf(ReadOnlySpan<byte> text, bool toTheSecond)
    {
        if (text.Length is < 20 or > 33 || text[10] != 'T')
            return null;
        Span<char> letters = stackalloc char[text.Length];
        for (var i = 0; i < text.Length; i++)
            letters[i] = (char)text[i];
        var fraction = text[19] == '.' ? text[20..].IndexOfAnyExceptInRange((byte)'0', (byte)'9') : -1;
        if (text[19] == '.' && (toTheSecond || fraction is < 1 or > 7))
            return null;
        var zone = letters[(fraction < 0 ? 19 : 20 + fraction)..];
        if (zone is not "Z" && (zone.Length != 6 || zone[0] is not ('+' or '-') || zone[3] != ':'))
            return null;
        return DateTimeOffset.TryParseExact(
            letters,
            fraction < 0 ? "yyyy-MM-ddTHH:mm:ssK" : "yyyy-MM-ddTHH:mm:ss.FFFFFFFK",
            CultureInfo.InvariantCulture,
            DateTimeStyles.None,
            out var moment
        )
            ? moment
            : null;
    }

    private void Mark(byte mark)
    {
        if (length == key.Length)
            Array.Resize(ref key, key.Length * 2);
        key[length++] = mark;
    }

    private void Keep(ReadOnlySpan<byte> text)
    {
        while (length + text.Length > key.Length)
            Array.Resize(ref key, key.Length * 2);
        text.CopyTo(key.AsSpan(length));
        length += text.Length;
    }

    private static string NameOf(ReadOnlySpan<byte> utf8)
    {
        foreach (var (known, name) in Names)
        {
            if (utf8.SequenceEqual(known))
                return name;
        }

        return "";
    }

    /// <summary>An object or array that is being read. Names that mean nothing here are empty.</summary>
    private struct Level
    {
        public bool IsArray;

        /// <summary>The property that it stands in; of an element of an array, that of the array.</summary>
        public string In;

        /// <summary>The property that is being read in it.</summary>
        public string Property;

        public int Elements;
        public int ElementStart;
        public int StartBefore;
        public DateTimeOffset? Start;
        public DateTimeOffset? End;
        public decimal? Number;

        /// <summary>The limit that its unit sets for its number.</summary>
        public decimal? Most;

        public decimal? Low;
        public decimal? High;

        public readonly bool IsFolded => IsArray && In is "derivedFrom" or "target";

        public void BeginElement(int at)
        {
            if (IsArray)
                (Elements, StartBefore, ElementStart) = (Elements + 1, ElementStart, at);
        }
    }
}
