using System.Collections.Concurrent;
using System.Diagnostics.CodeAnalysis;
using Hl7.Fhir.Model;

namespace IrrigationFhir.Validation;

/// <summary>A resource, and the JSON that is stored of it.</summary>
/// <param name="Resource">The resource.</param>
/// <param name="Json">UTF-8, elements in the order of the specification, without blanks.</param>
internal readonly record struct WrittenResource(Resource Resource, ReadOnlyMemory<byte> Json);

/// <summary>Shapes that were judged in full and found valid: a resource of one of them is valid without being judged again.</summary>
/// <remarks>
/// Only that is remembered; what is wrong with a resource is always said by the full judgement. That two resources of one shape are
/// valid both or neither is proved by no construction but by tests, so one in <see cref="JudgedAnyway"/> is judged in full while the
/// service runs: where the two differ, the full judgement counts, all shapes are forgotten, and <see cref="Differences"/> says so.
/// Any number of threads may use it.
/// </remarks>
/// <param name="judge">The full judgement.</param>
internal sealed class KnownShapes(Func<Resource, IReadOnlyList<ProfileFault>> judge)
{
    /// <summary>Of so many resources of known shapes one is judged in full.</summary>
    public const int JudgedAnyway = 128;

    /// <summary>So many shapes are remembered; then all are forgotten and learnt anew. They take some 2 kB each.</summary>
    public const int Most = 8192;

    private readonly ConcurrentDictionary<byte[], bool>.AlternateLookup<ReadOnlySpan<byte>> known = new ConcurrentDictionary<byte[], bool>(
        new SameBytes()
    ).GetAlternateLookup<ReadOnlySpan<byte>>();
    private int count;
    private int hits;
    private int differences;

    /// <summary>How many shapes are known.</summary>
    public int Count => Volatile.Read(ref count);

    /// <summary>How often a resource of a known shape was found faulty. More than 0 is a mistake in this program.</summary>
    public int Differences => Volatile.Read(ref differences);

    /// <summary>Whether a resource is known to be valid.</summary>
    /// <param name="written">The resource.</param>
    /// <param name="reader">Finds its shape, for <see cref="Judge"/> too.</param>
    public bool Knows(WrittenResource written, ShapeReader reader) =>
        ShapeReader.Types.Contains(written.Resource.TypeName)
        && reader.Read(written.Json.Span)
        && known.ContainsKey(reader.Found)
        && Interlocked.Increment(ref hits) % JudgedAnyway != 0;

    /// <summary>Judges a resource in full, and remembers its shape.</summary>
    /// <param name="written">The resource.</param>
    /// <param name="reader">Finds its shape.</param>
    public IReadOnlyList<ProfileFault> Judge(WrittenResource written, ShapeReader reader)
    {
        var faults = judge(written.Resource);
        if (!ShapeReader.Types.Contains(written.Resource.TypeName) || !reader.Read(written.Json.Span))
            return faults;
        if (faults.Count == 0)
        {
            if (Count >= Most)
                Forget();
            if (known.TryAdd(reader.Found, true))
                Interlocked.Increment(ref count);
        }
        else if (known.ContainsKey(reader.Found))
        {
            Interlocked.Increment(ref differences);
            Forget();
        }

        return faults;
    }

    private void Forget()
    {
        known.Dictionary.Clear();
        Volatile.Write(ref count, 0);
    }

    private sealed class SameBytes : IEqualityComparer<byte[]>, IAlternateEqualityComparer<ReadOnlySpan<byte>, byte[]>
    {
        public bool Equals(byte[]? one, byte[]? other) => one.AsSpan().SequenceEqual(other);

        public int GetHashCode([DisallowNull] byte[] bytes) => GetHashCode(bytes.AsSpan());

        public bool Equals(ReadOnlySpan<byte> one, byte[] other) => one.SequenceEqual(other);

        public int GetHashCode(ReadOnlySpan<byte> bytes)
        {
            var hash = new HashCode();
            hash.AddBytes(bytes);
            return hash.ToHashCode();
        }

        public byte[] Create(ReadOnlySpan<byte> bytes) => bytes.ToArray();
    }
}
