using System.Collections.Concurrent;
using System.Diagnostics;
using System.IO.Compression;
using System.Security.Cryptography;
using System.Text.Json;
using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using NodaTime;
using NodaTime.Serialization.SystemTextJson;
using Duration = NodaTime.Duration;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Analytics;

/// <summary>Works on the exports that were asked for, one at a time, and takes away what has expired.</summary>
/// <remarks>
/// An export is held by a lease in the store: when a process dies, another begins it anew, as of the same moment. Its files lie in a folder
/// of its own beside the database and can be fetched when all of them are complete.
/// </remarks>
internal sealed class RunExports(
    ExportJobStore jobs,
    ResourceScan scan,
    ResourceStore resources,
    Searching searching,
    DomainViews views,
    StoreSettings kept,
    Vocabulary words,
    TimeProvider clock,
    ICallers callers,
    AccessSettings access,
    ILogger<RunExports> log
) : BackgroundService
{
    /// <summary>How many may wait or run, of all clients together.</summary>
    public const int MostUnfinished = 8;

    /// <summary>How often one is begun again after a process died over it.</summary>
    public const int MostAttempts = 3;

    /// <summary>How long files are kept.</summary>
    public static readonly Duration KeptFor = Duration.FromHours(24);

    /// <summary>How long one is held without a sign of life.</summary>
    public static readonly Duration Lease = Duration.FromMinutes(2);

    private static readonly JsonSerializerOptions Json = new JsonSerializerOptions(JsonSerializerDefaults.Web).ConfigureForNodaTime(
        DateTimeZoneProviders.Tzdb
    );

    // Beside the files, and none of them: it is in no manifest.
    private const string EpisodesFile = "episodes.txt";

    private readonly SemaphoreSlim _asked = new(0);
    private readonly ConcurrentDictionary<string, CancellationTokenSource> _running = new();
    private readonly string _me = Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(8));

    /// <summary>A part of a file ends with so many bytes before they are packed, or so many lines.</summary>
    public (long Bytes, long Lines) PartBounds { get; set; } = (250_000_000, 1_000_000);

    /// <summary>The folder of an export's files.</summary>
    public string FolderOf(string id) => Path.Combine(kept.Folder, "exports", id);

    /// <summary>The episodes that are in an export's files: who fetches one is told of each of their patients.</summary>
    public IReadOnlyList<string> EpisodesOf(string id)
    {
        var path = Path.Combine(FolderOf(id), EpisodesFile);
        return File.Exists(path) ? File.ReadAllLines(path) : [];
    }

    /// <summary>Keeps what was asked for and begins as soon as it can; answers its id, or null where as many wait as may.</summary>
    public async Task<string?> Ask(ExportRequest request, CancellationToken stop)
    {
        var id = Convert.ToHexStringLower(RandomNumberGenerator.GetBytes(16));
        var isLocal = request.Owner.Client == Caller.Local.Client;
        if (!await jobs.Add(id, JsonSerializer.Serialize(request, Json), IsOneTooMany, stop))
            return null;

        bool IsOneTooMany(IReadOnlyList<string> unfinished) =>
            unfinished.Count >= MostUnfinished
            || (!isLocal && unfinished.Count(other => Of(other).Owner.Client == request.Owner.Client) >= access.ExportsAtOnce);

        _asked.Release();
        return id;
    }

    /// <summary>What was asked for.</summary>
    public static ExportRequest RequestOf(ExportJob job) => Of(job.Request);

    private static ExportRequest Of(string request) => JsonSerializer.Deserialize<ExportRequest>(request, Json)!;

    /// <summary>Cancels an export, or forgets one that has ended; false where there is none.</summary>
    public async Task<bool> Delete(string id, CancellationToken stop)
    {
        if (!await jobs.Delete(id, stop))
            return false;
        if (_running.TryGetValue(id, out var running))
            await running.CancelAsync();
        else
            DeleteFiles(id);
        return true;
    }

    /// <inheritdoc/>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        try
        {
            await UntilStopped(stoppingToken);
        }
        catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
        {
            // That is how it ends: what it was working on is begun anew by the next start.
        }
    }

    private async Task UntilStopped(CancellationToken stoppingToken)
    {
        while (!stoppingToken.IsCancellationRequested)
        {
            try
            {
                await TakeAway(stoppingToken);
                while (await jobs.Claim(_me, Now, Lease, stoppingToken) is { } job)
                    await Work(job, stoppingToken);
            }
            catch (Exception failure) when (failure is not OperationCanceledException)
            {
                // Whatever it is: what is charted goes on. Its text may quote data.
                log.LogWarning("Exports could not be worked on just now ({Kind})", failure.GetType().Name);
            }

            // By the machine's clock: what was left by a process that died is looked for without being asked.
            await _asked.WaitAsync(TimeSpan.FromSeconds(5), stoppingToken);
        }
    }

    private Instant Now => Instant.FromDateTimeOffset(clock.GetUtcNow());

    private async Task Work(ExportJob job, CancellationToken stoppingToken)
    {
        using var stop = CancellationTokenSource.CreateLinkedTokenSource(stoppingToken);
        _running[job.Id] = stop;
        try
        {
            var (files, error) = job.Attempts > MostAttempts ? ([], "it failed each time that it was begun") : await Try(job, stop.Token);
            if (!await jobs.End(job.Id, _me, BulkFile.Write(files), error, Now + KeptFor, stoppingToken))
                DeleteFiles(job.Id);
        }
        catch (OperationCanceledException) when (!stoppingToken.IsCancellationRequested)
        {
            // Cancelled, or taken over by another.
            if (await jobs.Find(job.Id, stoppingToken) is null)
                DeleteFiles(job.Id);
        }
        finally
        {
            _running.TryRemove(job.Id, out _);
        }
    }

    private async Task<(IReadOnlyList<BulkFile> Files, string? Error)> Try(ExportJob job, CancellationToken stop)
    {
        try
        {
            DeleteFiles(job.Id);
            Directory.CreateDirectory(FolderOf(job.Id));
            var fence = job.TransactionTime ?? await scan.Fence(stop);
            var life = new SignsOfLife(jobs, kept, () => Now, _me, job.Id, fence);
            await life.Give("begun", stop, atOnce: true);
            var request = RequestOf(job);
            // Judged again: what its client was allowed when it asked may have ended.
            if (callers.Still(request.Owner) is not { } owner)
                return ([], "its client may not have it any more");
            var episodes = new HashSet<string>();
            var files = request.Bulk is { } bulk
                ? await Export(bulk, owner, job.Id, fence, episodes, life, stop)
                : await Export(request.Views!, owner, job.Id, fence, episodes, life, stop);
            await using (var list = new StreamWriter(PrivateFile.Create(Path.Combine(FolderOf(job.Id), EpisodesFile))))
            {
                foreach (var episode in episodes)
                    await list.WriteLineAsync(episode);
            }

            return (files, null);
        }
        catch (ViewFault fault)
        {
            return ([], fault.Message);
        }
        catch (IOException failure)
        {
            log.LogWarning("An export could not be written ({Kind})", failure.GetType().Name);
            return ([], "its files could not be written");
        }
        catch (Exception failure) when (failure is not (OperationCanceledException or StoreFailure or System.Data.Common.DbException))
        {
            // Begun again it would fail again. What the store cannot do just now is tried again when the lease has run out.
            log.LogError("An export failed ({Kind})", failure.GetType().FullName);
            return ([], "the service failed while making it");
        }
    }

    private async Task<IReadOnlyList<BulkFile>> Export(
        BulkRequest bulk,
        Caller owner,
        string id,
        Instant fence,
        HashSet<string> episodes,
        SignsOfLife life,
        CancellationToken stop
    )
    {
        var files = new List<BulkFile>();
        foreach (var type in bulk.Types.Where(type => Exports.MayHave(owner, type)))
        {
            await using var output = new BulkOutput(
                FolderOf(id),
                type,
                PartBounds,
                bulk.Elements.Count > 0 ? new(type, bulk.Elements) : null
            );
            var request = new ScanRequest(type, fence, bulk.Since)
            {
                OnlyOfPatients = bulk.OfPatients,
                Patients = bulk.Patients,
                Within = Exports.Shown(owner, type),
            };
            var filters = bulk.Filters.Where(filter => filter.Type == type).ToList();
            if (filters.Count == 0)
            {
                await foreach (var page in scan.Read(request, stop))
                {
                    foreach (var resource in page.Resources)
                        Write(resource);
                    await life.Give($"{type}: {output.Count} resources", stop);
                }
            }
            else
            {
                // Who is found by two filters, or twice because it changed meanwhile, is written once. A digest is a third of an id: some
                // 30 bytes for each that is found.
                var known = new HashSet<UInt128>();
                foreach (var filter in filters)
                {
                    await foreach (var ids in Found(filter, bulk, owner, stop))
                    {
                        var fresh = ids.Where(found => known.Add(Digest(found))).ToList();
                        foreach (var resource in await scan.ReadSome(request, fresh, stop))
                            Write(resource);
                        await life.Give($"{type}: {output.Count} resources", stop);
                    }
                }
            }

            files.AddRange(output.Finish());

            void Write(ScannedResource resource)
            {
                output.Write(resource);
                if (ShownVersion.Of(resource).Episode is { } episode)
                    episodes.Add(episode);
            }
        }

        if (bulk.PassedOver.Count > 0)
            files.Add(WritePassedOver(FolderOf(id), bulk.PassedOver));
        return files;
    }

    private static UInt128 Digest(string id) =>
        System.Buffers.Binary.BinaryPrimitives.ReadUInt128LittleEndian(SHA256.HashData(System.Text.Encoding.UTF8.GetBytes(id)));

    /// <summary>What a search finds now, in pages. What changed since the fence is taken as it was then.</summary>
    private async IAsyncEnumerable<IReadOnlyList<string>> Found(
        BulkFilter filter,
        BulkRequest bulk,
        Caller owner,
        [System.Runtime.CompilerServices.EnumeratorCancellation] CancellationToken stop
    )
    {
        const int atOnce = 200;
        var context = searching.Context(strict: true, bulk.Base) with { DefaultCount = atOnce };
        var (search, _) = SearchReader.Read(IndexedTypes.Find(filter.Type)!, BulkRequest.Query(filter.Query), context);
        var query = search!.Query with { Criteria = [.. search.Query.Criteria, .. Exports.Shown(owner, filter.Type)] };
        while (true)
        {
            var page = await resources.Search(query, stop);
            yield return [.. page.Resources.Select(resource => resource.Id)];
            if (page.Next is not { } next)
                yield break;
            query = query with { After = next };
        }
    }

    /// <summary>What was passed over, as OperationOutcomes in a file of its own.</summary>
    private BulkFile WritePassedOver(string folder, IReadOnlyList<string> parameters)
    {
        const string name = "passed-over.ndjson";
        using (var stream = PrivateFile.Create(Path.Combine(folder, name)))
        {
            foreach (var parameter in parameters)
            {
                var outcome = Outcome
                    .Of(Outcome.PassedOver(parameter, "a parameter that is not honoured here", "what /fhir/metadata says of $export"))
                    .Under(words);
                stream.Write(FhirJson.WriteUtf8(outcome));
                stream.WriteByte((byte)'\n');
            }
        }

        return new("OperationOutcome", name, parameters.Count, "error", BulkRequest.Formats[0], IsPacked: false);
    }

    private async Task<IReadOnlyList<BulkFile>> Export(
        ViewExport request,
        Caller owner,
        string id,
        Instant fence,
        HashSet<string> episodes,
        SignsOfLife life,
        CancellationToken stop
    )
    {
        var files = new List<BulkFile>();
        foreach (var named in request.Views)
        {
            var view = named.ViewIn(views);
            if (!Exports.MayHave(owner, view.Resource))
                continue;
            var name = $"{named.Name}.{request.Format}";
            var engine = Exports.Engine(view);
            var path = Path.Combine(FolderOf(id), name);
            long rows;
            await using (var stream = PrivateFile.Create(path + ".unfinished"))
            {
                await using var table = TableWriter.Of(
                    TableColumn.Of(view),
                    stream,
                    new(Enum.Parse<TableFormat>(request.Format, ignoreCase: true), request.Header)
                );
                var scanned = new ScanRequest(view.Resource, fence, request.Since)
                {
                    Patients = request.Patients,
                    Within = Exports.Shown(owner, view.Resource),
                };
                await foreach (var page in scan.Read(scanned, stop))
                {
                    foreach (var resource in page.Resources)
                    {
                        engine.Rows(resource.Json, row => table.Add(row));
                        if (ShownVersion.Of(resource).Episode is { } episode)
                            episodes.Add(episode);
                    }

                    await table.Flush(stop);
                    await life.Give($"{named.Name}: {table.Rows} rows", stop);
                }

                await table.Finish(stop);
                rows = table.Rows;
            }

            File.Move(path + ".unfinished", path);
            files.Add(new(named.Name, name, rows, "output", ViewFormats.MediaTypeOf(request.Format), IsPacked: false));
        }

        return files;
    }

    /// <summary>Takes away what has expired, and files that belong to no export.</summary>
    private async Task TakeAway(CancellationToken stop)
    {
        var known = await jobs.Expired(Now, stop);
        foreach (var expired in known.Where(job => job.Value))
            await jobs.Delete(expired.Key, stop);
        var folder = Path.Combine(kept.Folder, "exports");
        if (!Directory.Exists(folder))
            return;
        foreach (var id in Directory.EnumerateDirectories(folder).Select(path => Path.GetFileName(path)))
        {
            if (!known.TryGetValue(id, out var expired) || expired)
                DeleteFiles(id);
        }
    }

    private void DeleteFiles(string id)
    {
        if (Directory.Exists(FolderOf(id)))
            Directory.Delete(FolderOf(id), recursive: true);
    }

    /// <summary>Holds an export while it is worked on, and sees that there is room for it.</summary>
    private sealed class SignsOfLife(ExportJobStore jobs, StoreSettings kept, Func<Instant> now, string me, string id, Instant fence)
    {
        private static readonly TimeSpan Every = TimeSpan.FromSeconds(1);
        private readonly Stopwatch _last = Stopwatch.StartNew();

        public async Task Give(string progress, CancellationToken stop, bool atOnce = false)
        {
            if (!atOnce && _last.Elapsed < Every)
                return;
            _last.Restart();
            if (!await jobs.Prolong(id, me, now() + Lease, fence, progress, stop))
                throw new OperationCanceledException();
            // What was charted has the room first.
            var room = new DriveInfo(Path.GetFullPath(kept.Folder)).AvailableFreeSpace;
            if (room < (kept.LeastFreeMegabytes * 1_000_000L) + 100_000_000)
                throw new IOException("too little room on the disk for an export");
        }
    }
}

/// <summary>What an export was asked for: resources, or rows of views.</summary>
/// <param name="Bulk">Resources.</param>
/// <param name="Views">Rows of views.</param>
internal sealed record ExportRequest(BulkRequest? Bulk, ViewExport? Views)
{
    /// <summary>Whose it is, and what that client was allowed; whoever asked before clients had names, where there is none.</summary>
    public LastingAccess Owner { get; init; } = LastingAccess.Local;

    /// <summary>The types that its files hold.</summary>
    public IEnumerable<string> Types(DomainViews views) =>
        Bulk is { } bulk ? bulk.Types : Views!.Views.Select(named => named.ViewIn(views).Resource);
}

/// <summary>Lines of one type on their way into files, packed.</summary>
internal sealed class BulkOutput(string folder, string type, (long Bytes, long Lines) bounds, BulkElements? elements) : IAsyncDisposable
{
    private readonly List<BulkFile> _files = [];
    private GZipStream? _stream;
    private string _name = "";
    private long _bytes;
    private long _lines;

    /// <summary>How many so far.</summary>
    public long Count { get; private set; }

    /// <summary>Writes a resource on a line of its own.</summary>
    public void Write(ScannedResource resource)
    {
        if (_stream is null)
        {
            _name = $"{type}-{_files.Count + 1}.ndjson";
            (_bytes, _lines) = (0, 0);
            _stream = new(PrivateFile.Create(Path.Combine(folder, _name + ".unfinished")), CompressionLevel.Fastest);
        }

        var json = elements?.Cut(resource.Json) ?? resource.Json;
        _stream.Write(json.Span);
        _stream.WriteByte((byte)'\n');
        (_bytes, _lines, Count) = (_bytes + json.Length + 1, _lines + 1, Count + 1);
        if (_bytes >= bounds.Bytes || _lines >= bounds.Lines)
            End();
    }

    /// <summary>Ends the last file; answers all of them, none where there was nothing.</summary>
    public IReadOnlyList<BulkFile> Finish()
    {
        if (_stream is not null)
            End();
        return _files;
    }

    /// <inheritdoc/>
    public async ValueTask DisposeAsync()
    {
        if (_stream is not null)
            await _stream.DisposeAsync();
    }

    private void End()
    {
        _stream!.Dispose();
        _stream = null;
        File.Move(Path.Combine(folder, _name + ".unfinished"), Path.Combine(folder, _name));
        _files.Add(new(type, _name, _lines, "output", BulkRequest.Formats[0], IsPacked: true));
    }
}
