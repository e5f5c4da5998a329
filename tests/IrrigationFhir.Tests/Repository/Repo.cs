using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Repository;

/// <summary>The files of this repository, as they lie on the disk.</summary>
internal static class Repo
{
    /// <summary>Set to 1 to write the committed examples anew in place of comparing with them.</summary>
    public const string WriteVariable = "WRITE_EXAMPLES";

    private static readonly JsonSerializerOptions Readable = new()
    {
        WriteIndented = true,
        NewLine = "\n",
        Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping,
    };

    public static string Root { get; } = FindRoot(AppContext.BaseDirectory);

    public static string PathOf(string relative) => Path.Combine(Root, relative);

    public static string Read(string relative) => File.ReadAllText(PathOf(relative));

    /// <summary>Paths, relative to the root and with slashes, of what belongs to the repository below a folder.</summary>
    public static IReadOnlyList<string> Files(string folder, string pattern = "*") =>
        [
            .. Directory
                .EnumerateFiles(
                    PathOf(folder),
                    pattern,
                    new EnumerationOptions { RecurseSubdirectories = true, AttributesToSkip = FileAttributes.None }
                )
                .Select(path => Path.GetRelativePath(Root, path).Replace('\\', '/'))
                .Where(path =>
                    !path.Split('/')
                        .Any(part =>
                            part
                                is "bin"
                                    or "obj"
                                    or "artifacts"
                                    or "TestResults"
                                    or "BenchmarkDotNet.Artifacts"
                                    or "node_modules"
                                    or "data"
                                    or ".git"
                                    or ".vs"
                                    or ".idea"
                        )
                )
                .Order(StringComparer.Ordinal),
        ];

    public static string Text(JsonNode json) => json.ToJsonString(Readable) + "\n";

    /// <summary>A committed example is what the service says today.</summary>
    public static void Agrees(string relative, string text)
    {
        if (Environment.GetEnvironmentVariable(WriteVariable) == "1")
        {
            Directory.CreateDirectory(Path.GetDirectoryName(PathOf(relative))!);
            File.WriteAllText(PathOf(relative), text, new UTF8Encoding(encoderShouldEmitUTF8Identifier: false));
        }

        Assert.True(File.Exists(PathOf(relative)), $"{relative} is missing; {WriteVariable}=1 dotnet test writes it");
        Assert.True(
            Read(relative) == text,
            $"{relative} is not what the service says; {WriteVariable}=1 dotnet test writes it anew. The service says:\n{text}"
        );
    }

    private static string FindRoot(string from) =>
        File.Exists(Path.Combine(from, "IrrigationFhir.sln")) ? from
        : Directory.GetParent(from) is { } above ? FindRoot(above.FullName)
        : throw new InvalidOperationException("the tests run outside the repository");
}
