using System.Text;
using System.Text.Json;

namespace IrrigationFhir.Analytics;

/// <summary>What a kept element is.</summary>
internal enum KeptKind : byte
{
    /// <summary>An object, with what is kept of it behind it.</summary>
    Object,

    /// <summary>A text.</summary>
    Text,

    /// <summary>A number.</summary>
    Number,

    /// <summary>True.</summary>
    True,

    /// <summary>False.</summary>
    False,
}

/// <summary>An element that was kept: its children follow it.</summary>
/// <param name="Name">Number of its name among those that are kept.</param>
/// <param name="Kind">What it is.</param>
/// <param name="HasEscapes">Whether a text has escapes.</param>
/// <param name="Start">Where its bytes begin; a text's without its quotes.</param>
/// <param name="Length">How many they are.</param>
/// <param name="End">The place behind the last of its children.</param>
internal readonly record struct Kept(int Name, KeptKind Kind, bool HasEscapes, int Start, int Length, int End);

/// <summary>
/// What one forward pass over a resource keeps: the properties whose names a view speaks of, in the order of the document, as places in its
/// bytes. Everything else is skipped unread.
/// </summary>
/// <remarks>Items of an array stand side by side under its name, as FHIRPath sees them. Used again for the next resource.</remarks>
internal sealed class KeptTree
{
    private readonly byte[]?[] _names;
    private readonly int[] _numbers;
    private readonly int _mask;
    private Kept[] _kept = new Kept[256];
    private int _count;

    /// <summary>A tree that keeps properties of these names.</summary>
    public KeptTree(IReadOnlyList<string> names)
    {
        var size = 16;
        while (size < 4 * names.Count)
            size *= 2;
        (_mask, _names, _numbers) = (size - 1, new byte[size][], new int[size]);
        for (var i = 0; i < names.Count; i++)
        {
            var name = Encoding.UTF8.GetBytes(names[i]);
            var slot = Slot(name);
            while (_names[slot] is not null)
                slot = (slot + 1) & _mask;
            (_names[slot], _numbers[slot]) = (name, i);
        }
    }

    /// <summary>An element; the resource itself is the first.</summary>
    public ref readonly Kept this[int at] => ref _kept[at];

    /// <summary>Keeps what is wanted of a resource.</summary>
    /// <exception cref="JsonException">It is no JSON.</exception>
    public void Read(ReadOnlySpan<byte> resource)
    {
        _count = 0;
        var reader = new Utf8JsonReader(resource);
        reader.Read();
        Value(ref reader, -1);
    }

    private void Value(ref Utf8JsonReader reader, int name)
    {
        switch (reader.TokenType)
        {
            case JsonTokenType.StartObject:
                Object(ref reader, name);
                break;
            case JsonTokenType.StartArray:
                while (reader.Read() && reader.TokenType != JsonTokenType.EndArray)
                    Value(ref reader, name);
                break;
            case JsonTokenType.String:
                Add(new(name, KeptKind.Text, reader.ValueIsEscaped, (int)reader.TokenStartIndex + 1, reader.ValueSpan.Length, _count + 1));
                break;
            case JsonTokenType.Number:
                Add(new(name, KeptKind.Number, false, (int)reader.TokenStartIndex, reader.ValueSpan.Length, _count + 1));
                break;
            case JsonTokenType.True or JsonTokenType.False:
                var kind = reader.TokenType == JsonTokenType.True ? KeptKind.True : KeptKind.False;
                Add(new(name, kind, false, (int)reader.TokenStartIndex, reader.ValueSpan.Length, _count + 1));
                break;
        }
    }

    private void Object(ref Utf8JsonReader reader, int name)
    {
        var (at, start) = (_count, (int)reader.TokenStartIndex);
        Add(new(name, KeptKind.Object, false, start, 0, 0));
        while (reader.Read() && reader.TokenType == JsonTokenType.PropertyName)
        {
            var number = reader.ValueIsEscaped ? Number(Encoding.UTF8.GetBytes(reader.GetString()!)) : Number(reader.ValueSpan);
            reader.Read();
            if (number < 0)
                reader.Skip();
            else
                Value(ref reader, number);
        }

        _kept[at] = new(name, KeptKind.Object, false, start, (int)reader.BytesConsumed - start, _count);
    }

    private void Add(Kept element)
    {
        if (_count == _kept.Length)
            Array.Resize(ref _kept, 2 * _count);
        _kept[_count++] = element;
    }

    private int Number(ReadOnlySpan<byte> name)
    {
        for (var slot = Slot(name); _names[slot] is { } known; slot = (slot + 1) & _mask)
        {
            if (name.SequenceEqual(known))
                return _numbers[slot];
        }

        return -1;
    }

    private int Slot(ReadOnlySpan<byte> name) =>
        name.IsEmpty ? 0 : (name.Length + (31 * name[0]) + (17 * name[^1]) + (7 * name[name.Length / 2])) & _mask;
}
