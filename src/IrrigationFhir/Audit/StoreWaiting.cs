using System.Data.Common;
using System.Text.Json;
using IrrigationFhir.Health;
using IrrigationFhir.Store;
using NodaTime.Extensions;

namespace IrrigationFhir.Audit;

/// <summary>
/// Stores the reads that wait, every second or when many do; what an earlier process left goes first. Takes away days that have been kept
/// long enough, and records that the service runs.
/// </summary>
internal sealed class StoreWaiting(
    AuditQueue queue,
    AuditTrail trail,
    AuditStore store,
    AuditKeeping keeping,
    BroadReading broad,
    JudgedEvents judged,
    Figures figures,
    Database database,
    TimeProvider clock,
    ILogger<StoreWaiting> log
) : BackgroundService
{
    /// <summary>Rows that are stored in one transaction, or a few more: whoever writes waits no longer than for these.</summary>
    public const int AtOnce = 500;

    private static readonly TimeSpan Every = TimeSpan.FromSeconds(1);
    private static readonly TimeSpan Look = TimeSpan.FromMilliseconds(100);
    private static readonly NodaTime.Duration BetweenRemovals = NodaTime.Duration.FromHours(1);

    private readonly SemaphoreSlim _one = new(1);
    private NodaTime.Instant _removedAt = NodaTime.Instant.MinValue;
    private volatile bool _failing;
    private readonly Lock _lock = new();
    private Task? _last;

    /// <summary>Whether what waits could not be stored when that was tried last.</summary>
    public bool IsFailing => _failing;

    /// <inheritdoc/>
    public override async Task StartAsync(CancellationToken cancellationToken)
    {
        AuditHealth.Measure(figures, queue, judged);
        // Where no store is opened, as while the build writes the contract, nothing is read either.
        if (!database.IsReady)
            return;
        queue.Start((await store.Taken(cancellationToken))?.File ?? 0);
        trail.Happened("started");
        await base.StartAsync(cancellationToken);
    }

    /// <inheritdoc/>
    public override async Task StopAsync(CancellationToken cancellationToken)
    {
        await base.StopAsync(cancellationToken);
        if (!database.IsReady)
            return;
        Task last;
        lock (_lock)
            last = _last ??= StoreTheLast();
        await last; // whoever stops it beside another waits for the same
    }

    private async Task StoreTheLast()
    {
        try
        {
            trail.TellFolded(all: true);
            trail.Happened("stopped");
            await Flush(CancellationToken.None);
        }
        catch (Exception failure) when (failure is DbException or IOException or AuditUnavailable or UnauthorizedAccessException)
        {
            // The file is there: the next start takes it up.
            log.LogWarning("Reads wait in a file to be recorded by the next start ({Kind})", failure.GetType().Name);
        }
    }

    /// <summary>Stores everything that waits.</summary>
    public async Task Flush(CancellationToken stop)
    {
        await _one.WaitAsync(stop);
        try
        {
            var files = queue.Seal();
            await StoreKept(stop);
            if (files.Count == 0)
                return;
            var taken = await store.Taken(stop);
            foreach (var file in files)
            {
                await Take(file, taken is { } known && known.File == file.Number ? known.Lines : 0, taken?.File > file.Number, stop);
                queue.Done(file);
            }
        }
        finally
        {
            _one.Release();
        }
    }

    /// <inheritdoc/>
    protected override async Task ExecuteAsync(CancellationToken stoppingToken)
    {
        try
        {
            while (!stoppingToken.IsCancellationRequested)
            {
                await UntilDue(stoppingToken);
                await Try(stoppingToken);
            }
        }
        catch (OperationCanceledException) when (stoppingToken.IsCancellationRequested)
        {
            // That is how it ends; what waits is stored by StopAsync.
        }
    }

    private async Task UntilDue(CancellationToken stop)
    {
        var waited = TimeSpan.Zero;
        while (waited < Every && queue.Lines < AtOnce)
        {
            await Task.Delay(Look, stop);
            waited += Look;
        }
    }

    private async Task Try(CancellationToken stop)
    {
        try
        {
            trail.TellFolded(all: false);
            await Flush(stop);
            await RemoveWhatIsOver(stop);
            _failing = false;
        }
        catch (Exception failure) when (failure is DbException or IOException or AuditUnavailable or UnauthorizedAccessException)
        {
            // It waits on, and is tried again: said once.
            if (!_failing)
                log.LogError("What was read cannot be recorded just now and waits in a file ({Kind})", failure.GetType().Name);
            _failing = true;
            await Task.Delay(Every, stop);
        }
    }

    private async Task StoreKept(CancellationToken stop)
    {
        var kept = queue.TakeKept();
        foreach (var some in kept.Chunk(AtOnce))
        {
            try
            {
                Stored(await store.Add([.. some.Select(line => AuditEntry.Read(line))], stop));
                kept = [.. kept.Skip(some.Length)];
            }
            catch
            {
                queue.GiveBack(kept);
                throw;
            }
        }
    }

    private async Task Take(AuditFile file, long done, bool all, CancellationToken stop)
    {
        if (all || !File.Exists(file.Path))
            return;
        var (lines, rows, entries) = (0L, 0, new List<AuditEntry>(AtOnce));
        foreach (var line in File.ReadLines(file.Path))
        {
            if (++lines <= done)
                continue;
            if (Read(line) is { } entry)
            {
                entries.Add(entry);
                rows += Math.Max(1, entry.Episodes?.Count ?? 0);
            }

            if (rows < AtOnce)
                continue;
            Stored(await store.Take(file.Number, lines, entries, stop));
            entries.Clear();
            rows = 0;
        }

        if (entries.Count > 0)
            Stored(await store.Take(file.Number, lines, entries, stop));
    }

    private void Stored(IReadOnlyList<AuditEntry> entries)
    {
        foreach (var entry in entries)
            judged.Look(new(0, entry));
        broad.Take(entries);
    }

    // A line that a kill cut off tells of an answer that had not left.
    private AuditEntry? Read(string line)
    {
        try
        {
            return JsonSerializer.Deserialize(line, AuditJson.Default.AuditEntry);
        }
        catch (JsonException)
        {
            log.LogWarning("A line of the file of reads that wait is no entry, and was left out");
            return null;
        }
    }

    private async Task RemoveWhatIsOver(CancellationToken stop)
    {
        var now = clock.GetCurrentInstant();
        if (now - _removedAt < BetweenRemovals)
            return;
        while (await store.RemoveBefore(now - keeping.For, 5_000, stop) > 0) { }
        _removedAt = now;
    }
}

/// <summary>How long the audit is kept.</summary>
/// <param name="For">Whole days older than this go.</param>
internal sealed record AuditKeeping(NodaTime.Duration For);
