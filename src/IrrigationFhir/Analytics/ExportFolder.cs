using System.Diagnostics;
using System.Security.Cryptography;
using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Serialization;
using IrrigationFhir.Audit;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using NodaTime;
using NodaTime.Serialization.SystemTextJson;

namespace IrrigationFhir.Analytics;

/// <summary>What is to be exported into a folder.</summary>
/// <param name="Format"><c>parquet</c>, <c>csv</c>, <c>ndjson</c>, or <c>fhir</c> for the resources themselves.</param>
/// <param name="Since">Only what was stored after this; null for all.</param>
/// <param name="CsvSafe">As <see cref="TableOptions"/>.</param>
internal sealed record ExportOrder(string Format, Instant? Since, bool CsvSafe)
{
    /// <summary>Formats that there are.</summary>
    public static IReadOnlyList<string> Formats { get; } = ["parquet", "csv", "ndjson", "fhir"];
}

/// <summary>A file that is complete.</summary>
/// <param name="Table">The view, or the resource type, whose rows it holds.</param>
/// <param name="File">Its name in the folder.</param>
/// <param name="Rows">How many rows.</param>
/// <param name="Bytes">How large.</param>
/// <param name="Sha256">Its fingerprint, in hexadecimal.</param>
internal sealed record ExportedFile(string Table, string File, long Rows, long Bytes, string Sha256)
{
    /// <summary>Resources whose rows could not be written into it.</summary>
    public long LeftOut { get; init; }
}

/// <summary>How far an export is.</summary>
/// <param name="Type">The type that is read.</param>
/// <param name="Done">How many resources of it.</param>
/// <param name="Total">Of about how many.</param>
/// <param name="Rows">Rows written in all.</param>
/// <param name="Elapsed">Since it was begun, or gone on with.</param>
internal readonly record struct ExportProgress(string Type, long Done, long Total, long Rows, TimeSpan Elapsed);

/// <summary>
/// Exports a store into a folder: files of one moment, each complete or not there. What was interrupted goes on where the last complete
/// part ended, as of the same moment.
/// </summary>
internal sealed class ExportFolder(ResourceScan scan, DomainViews views, string folder)
{
    /// <summary>The file that says that all is there: it is written last.</summary>
    public const string ManifestName = "manifest.json";

    /// <summary>The file that an interrupted export goes on with.</summary>
    public const string StateName = ".export.json";

    private const string Unfinished = ".unfinished";

    private static readonly JsonSerializerOptions Json = new JsonSerializerOptions(JsonSerializerDefaults.Web)
    {
        WriteIndented = true,
        NewLine = "\n",
        DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingNull,
        Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping,
    }.ConfigureForNodaTime(DateTimeZoneProviders.Tzdb);

    /// <summary>A part ends with so many bytes read, or so many rows of a table.</summary>
    public (long Bytes, long Rows) PartBounds { get; init; } = (1L << 30, 1_000_000);

    /// <summary>Records whose data are in a file, before it appears; null where nobody wants that.</summary>
    public LeftDisclosure? Disclosed { get; init; }

    /// <summary>Exports, or goes on with what was interrupted.</summary>
    /// <param name="order">What.</param>
    /// <param name="progress">Told now and then.</param>
    /// <param name="stop">Interrupts it.</param>
    /// <exception cref="ExportRefusal">The folder holds something else.</exception>
    public async Task<ExportManifest> Run(ExportOrder order, IProgress<ExportProgress>? progress, CancellationToken stop)
    {
        Directory.CreateDirectory(folder);
        var state = Resume(order) ?? new ExportState(order, await scan.Fence(stop), views.All[0].View.Version!, [], [], null);
        Write(StateName, state);
        var watch = Stopwatch.StartNew();
        foreach (var (type, tables) in Tables(order))
        {
            if (!state.Done.Contains(type))
                state = await Export(type, tables, state, progress, watch, stop);
        }

        var manifest = new ExportManifest(
            "IrrigationFhir",
            views.All[0].View.Version!,
            state.Fence,
            order.Since,
            order.Format,
            [.. state.Files.OrderBy(file => file.File, StringComparer.Ordinal)],
            state.LeftOut
        );
        if (order.Format != "fhir")
            Write(DataPackage.FileName, DataPackage.Of(manifest, views.All));
        Write(ManifestName, manifest);
        File.Delete(Path.Combine(folder, StateName));
        return manifest;
    }

    private ExportState? Resume(ExportOrder order)
    {
        if (File.Exists(Path.Combine(folder, ManifestName)))
            throw new ExportRefusal($"{folder} holds an export already: name a folder of its own for each");
        var file = Path.Combine(folder, StateName);
        if (!File.Exists(file))
        {
            // A process may have died over the very first file: that is ours, and nothing.
            return Directory.EnumerateFileSystemEntries(folder).Any(path => Path.GetFileName(path) != StateName + Unfinished)
                ? throw new ExportRefusal($"{folder} is not empty, and no export was begun in it")
                : null;
        }

        var state = JsonSerializer.Deserialize<ExportState>(File.ReadAllBytes(file), Json)!;
        if (state.Order != order || state.Version != views.All[0].View.Version)
            throw new ExportRefusal($"{folder} holds the beginning of another export ({state.Order.Format}, since {state.Order.Since})");
        foreach (var left in Directory.EnumerateFiles(folder, "*" + Unfinished))
            File.Delete(left);
        return state;
    }

    private IEnumerable<(string Type, IReadOnlyList<PublishedView?> Tables)> Tables(ExportOrder order) =>
        order.Format == "fhir"
            ? Search
                .IndexedTypes.All.Select(type => type.Name)
                .Where(Exports.IsExported)
                .Select(type => (type, (IReadOnlyList<PublishedView?>)[null]))
            : views.All.GroupBy(view => view.View.Resource).Select(group => (group.Key, (IReadOnlyList<PublishedView?>)[.. group]));

    private async Task<ExportState> Export(
        string type,
        IReadOnlyList<PublishedView?> tables,
        ExportState state,
        IProgress<ExportProgress>? progress,
        Stopwatch watch,
        CancellationToken stop
    )
    {
        var total = await scan.Count(type, stop);
        var (part, after, done) =
            state.Position is { } position && position.Type == type ? (position.Part, position.After, position.Done) : (0, "", 0);
        var isLast = false;
        var leftOut = new List<LeftOut>();
        while (!isLast)
        {
            part++;
            var outputs = new List<ExportOutput>();
            var before = state.Files.Sum(file => file.Rows);
            try
            {
                foreach (var table in tables)
                    outputs.Add(new ExportOutput(folder, table?.View, type, part, state.Order, Unfinished, leftOut.Add));
                var bytes = 0L;
                await foreach (var page in scan.Read(new(type, state.Fence, state.Order.Since, after), stop))
                {
                    foreach (var resource in page.Resources)
                    {
                        if (ShownVersion.Of(resource).Episode is { } episode)
                            Disclosed?.Took(episode);
                        foreach (var output in outputs)
                            output.Take(resource);
                        bytes += resource.Json.Length;
                    }

                    foreach (var output in outputs)
                        await output.Flush(stop);
                    (after, isLast, done) = (page.UpTo, page.IsLast, done + page.Resources.Count);
                    progress?.Report(new(type, done, total, before + outputs.Sum(output => output.Rows), watch.Elapsed));
                    if (bytes >= PartBounds.Bytes || outputs.Any(output => output.Rows >= PartBounds.Rows))
                        break;
                }

                foreach (var output in outputs)
                    await output.Finish(stop);
            }
            finally
            {
                foreach (var output in outputs)
                    await output.DisposeAsync();
            }

            Disclosed?.Tell();
            // The first part is there even without a row: who reads the folder finds every table with its columns.
            var files = outputs.Where(output => part == 1 || output.Rows > 0).Select(output => output.Appear()).ToList();
            state = state with
            {
                Files = [.. state.Files, .. files],
                LeftOut = [.. state.LeftOut, .. leftOut],
                Done = isLast ? [.. state.Done, type] : state.Done,
                Position = isLast ? null : new(type, part, after, done),
            };
            Write(StateName, state);
            leftOut.Clear();
        }

        return state;
    }

    private void Write<T>(string name, T content)
    {
        var file = Path.Combine(folder, name);
        using (var stream = PrivateFile.Create(file + Unfinished))
        {
            JsonSerializer.Serialize(stream, content, Json);
            stream.WriteByte((byte)'\n');
            stream.Flush(flushToDisk: true);
        }

        File.Move(file + Unfinished, file, overwrite: true);
    }

    /// <summary>What an interrupted export goes on with: files and types that are complete, and where in a type it goes on.</summary>
    private sealed record ExportState(
        ExportOrder Order,
        Instant Fence,
        string Version,
        IReadOnlyList<ExportedFile> Files,
        IReadOnlyList<string> Done,
        Position? Position
    )
    {
        /// <summary>What could not be written.</summary>
        public IReadOnlyList<LeftOut> LeftOut { get; init; } = [];
    }

    private sealed record Position(string Type, int Part, string After, long Done);
}

/// <summary>Why a folder is not exported into.</summary>
internal sealed class ExportRefusal(string message) : Exception(message);

/// <summary>What is in a folder, of which moment.</summary>
/// <param name="Service">What made it.</param>
/// <param name="Version">The version of the views.</param>
/// <param name="TransactionTime">The moment that all files are of; the <c>since</c> of the next export.</param>
/// <param name="Since">Only what was stored after this; null for all.</param>
/// <param name="Format">The format.</param>
/// <param name="Files">The files, each complete.</param>
/// <param name="LeftOut">What could not be written into its table, and why.</param>
internal sealed record ExportManifest(
    string Service,
    string Version,
    Instant TransactionTime,
    Instant? Since,
    string Format,
    IReadOnlyList<ExportedFile> Files,
    IReadOnlyList<LeftOut> LeftOut
);

/// <summary>Files that only their owner may read: they hold what was charted.</summary>
internal static class PrivateFile
{
    /// <summary>Makes one, or empties it.</summary>
    public static FileStream Create(string path)
    {
        var options = new FileStreamOptions
        {
            Mode = FileMode.Create,
            Access = FileAccess.ReadWrite,
            BufferSize = 1 << 16,
        };
        if (!OperatingSystem.IsWindows())
            options.UnixCreateMode = UnixFileMode.UserRead | UnixFileMode.UserWrite;
        return new(path, options);
    }

    /// <summary>Its fingerprint in hexadecimal.</summary>
    public static string Fingerprint(string path)
    {
        using var stream = File.OpenRead(path);
        return Convert.ToHexStringLower(SHA256.HashData(stream));
    }
}
