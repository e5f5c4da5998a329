using System.IO.Compression;
using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.Store;

/// <summary>The stored databases of versions that landed; Landed/README.md says how each was made.</summary>
internal static class Landed
{
    /// <summary>Date and commit of each, such as <c>2026-11-26-d74a6d3</c>.</summary>
    public static IReadOnlyList<string> Names { get; } =
    [.. Repo.Files("tests/IrrigationFhir.Tests/Store/Landed", "*.db.gz").Select(file => Path.GetFileName(file)[..^".db.gz".Length])];

    /// <summary>Puts one into a folder of its own, as that version left it.</summary>
    public static string Unpack(string name)
    {
        var folder = Directory.CreateTempSubdirectory("landed-").FullName;
        var path = Repo.PathOf($"tests/IrrigationFhir.Tests/Store/Landed/{name}.db.gz");
        using var packed = new GZipStream(File.OpenRead(path), CompressionMode.Decompress);
        using var file = File.Create(Path.Combine(folder, "irrigation.db"));
        packed.CopyTo(file);
        return folder;
    }
}
