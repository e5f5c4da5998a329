using System.Data.Common;
using System.Text.Json;
using IrrigationFhir.Model;
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
    private bool _failing;

    /// <inheritdoc/>
    public override async Task StartAsync(CancellationToken cancellationToken)
    {
        queue.Start((await store.Taken(cancellationToken))?.File ?? 0);
        await Happened("started", cancellationToken);
        await base.StartAsync(cancellationToken);
    }

    /// <inheritdoc/>
    public override async Task StopAsync(CancellationToken cancellationToken)
    {
        await base.StopAsync(cancellationToken);
        try
        {
            trail.TellFolded(all: true);
            await Flush(CancellationToken.None);
            await Happened("stopped", CancellationToken.None);
        }
        catch (Exception failure) when (failure is DbException or IOException or AuditUnavailable or UnauthorizedAccessException)
        {
            // The file is there: the next start takes it up.
            log.LogWarning("Reads wait in a file to be recorded by the next start ({Kind})", failure.GetType().Name);
        }
    }

    /// <inheritdoc/>
    public override void Dispose()
    {
        _one.Dispose();
        base.Dispose();
    }

    /// <summary>Stores everything that waits.</summary>
    public async Task Flush(CancellationToken stop)
    {
        await _one.WaitAsync(stop);
        try
        {
            if (queue.Seal() is not { Count: > 0 } files)
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
            await store.Take(file.Number, lines, entries, stop);
            entries.Clear();
            rows = 0;
        }

        if (entries.Count > 0)
            await store.Take(file.Number, lines, entries, stop);
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

    private Task Happened(string code, CancellationToken stop) =>
        store.Add(AuditEntry.By(Actor.Service, Deed.Run, null, clock.GetCurrentInstant()) with { Code = code }, stop);
}

/// <summary>How long the audit is kept.</summary>
/// <param name="For">Whole days older than this go.</param>
internal sealed record AuditKeeping(NodaTime.Duration For);
