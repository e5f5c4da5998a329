using System.Reflection;
using System.Text;
using ZstdSharp;

namespace IrrigationFhir.Store;

/// <summary>JSON as it lies in the store: a byte that names a dictionary, and behind it what zstd made of the text with that.</summary>
/// <remarks>
/// Resources of one service say much alike, and one alone is too short to show it: with a dictionary of others they take a tenth, without a
/// third. A dictionary is data for ever, for what was written with it is read with nothing else: it is shipped, never changed and never
/// removed, and a better one gets the next number. It is made of the published examples alone, because a dictionary holds what it was made
/// of. Number 0 stands for the text as it is.
/// </remarks>
internal static class StoredJson
{
    /// <summary>The dictionary that is written with.</summary>
    private const byte Newest = 1;

    private const byte Plain = 0;

    // What is stored once is read often: higher levels took longer and saved next to nothing.
    private const int Level = 3;

    // More than any request may bring, so that a damaged length asks for no more memory than that.
    private const int Longest = 64 << 20;

    private static readonly byte[][] Dictionaries =
    [
        [],
        Shipped(1),
    ];

    // Neither may be used by two threads at a time.
    [ThreadStatic]
    private static Compressor? compressor;

    [ThreadStatic]
    private static Decompressor?[]? decompressors;

    /// <summary>The stored form of a text in UTF-8.</summary>
    public static byte[] Pack(ReadOnlySpan<byte> json)
    {
        if (compressor is null)
        {
            compressor = new(Level);
            compressor.LoadDictionary(Dictionaries[Newest]);
        }

        var packed = new byte[1 + Compressor.GetCompressBound(json.Length)];
        packed[0] = Newest;
        return packed[..(1 + compressor.Wrap(json, packed.AsSpan(1)))];
    }

    /// <summary>The stored form of a text.</summary>
    public static byte[] Pack(string json) => Pack(Encoding.UTF8.GetBytes(json));

    /// <summary>The text in UTF-8.</summary>
    /// <exception cref="InvalidDataException">It was written with a dictionary that this version does not have.</exception>
    public static byte[] UnpackUtf8(ReadOnlySpan<byte> stored)
    {
        if (stored[0] == Plain)
            return stored[1..].ToArray();
        if (stored[0] >= Dictionaries.Length)
            throw new InvalidDataException($"a stored resource needs dictionary {stored[0]}, which this version does not have");
        decompressors ??= new Decompressor?[Dictionaries.Length];
        if (decompressors[stored[0]] is not { } decompressor)
        {
            decompressors[stored[0]] = decompressor = new();
            decompressor.LoadDictionary(Dictionaries[stored[0]]);
        }

        return decompressor.Unwrap(stored[1..], Longest).ToArray();
    }

    /// <summary>The text.</summary>
    /// <exception cref="InvalidDataException">It was written with a dictionary that this version does not have.</exception>
    public static string Unpack(ReadOnlySpan<byte> stored) => Encoding.UTF8.GetString(UnpackUtf8(stored));

    private static byte[] Shipped(int number)
    {
        using var stream = Assembly.GetExecutingAssembly().GetManifestResourceStream($"Store/Dictionaries/{number}.txt")!;
        var bytes = new byte[stream.Length];
        stream.ReadExactly(bytes);
        return bytes;
    }
}
