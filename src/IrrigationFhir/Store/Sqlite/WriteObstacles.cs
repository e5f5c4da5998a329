using IrrigationFhir.Search;
using NodaTime;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>What stands against writing, as the folder and the clock show without a write.</summary>
/// <param name="folder">Where the database file lies.</param>
/// <param name="leastFreeBytes">With less room on the disk nothing is written; 0 for no bound.</param>
/// <param name="clock">The clock that things are stored by.</param>
internal sealed class WriteObstacles(string folder, long leastFreeBytes, TimeProvider clock)
{
    /// <summary>For how long a finding holds, in milliseconds: the disk is not asked before every write.</summary>
    private const long FindingHolds = 1000;

    /// <summary>How far the clock may stand before what was stored last: clocks are set right by some seconds now and then.</summary>
    private static readonly Duration ClockTolerance = Duration.FromMinutes(1);

    private (long At, StoreTrouble? Obstacle)? _finding;

    /// <summary>The obstacle, looked for once a second at most; null where there is none.</summary>
    /// <param name="lastStored">When something was stored last, in nanoseconds; 0 where nothing was.</param>
    public StoreTrouble? FindLately(long lastStored)
    {
        var now = Environment.TickCount64;
        if (_finding is { } known && now - known.At < FindingHolds)
            return known.Obstacle;
        var obstacle = Find(lastStored);
        _finding = (now, obstacle);
        return obstacle;
    }

    /// <summary>The obstacle, looked for now; null where there is none.</summary>
    /// <param name="lastStored">When something was stored last, in nanoseconds; 0 where nothing was.</param>
    public StoreTrouble? Find(long lastStored)
    {
        _finding = null;
        if (!File.Exists(Dialect.FileIn(folder)))
            return StoreTrouble.Gone;
        if (leastFreeBytes > 0 && new DriveInfo(Path.GetFullPath(folder)).AvailableFreeSpace < leastFreeBytes)
            return StoreTrouble.Full;
        if (lastStored <= 0)
            return null;
        var now = Instant.FromDateTimeOffset(clock.GetUtcNow());
        return now < UnixNanoseconds.ToInstant(lastStored) - ClockTolerance ? StoreTrouble.ClockBehind : null;
    }

    /// <summary>Whether a file can be made in the folder.</summary>
    public bool CanWriteFolder()
    {
        var probe = Path.Combine(folder, "irrigation.probe");
        try
        {
            File.WriteAllBytes(probe, [0]);
            File.Delete(probe);
            return true;
        }
        catch (Exception failure) when (failure is IOException or UnauthorizedAccessException)
        {
            return false;
        }
    }
}
