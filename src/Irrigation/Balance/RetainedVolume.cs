using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>R: what bladder, catheter and tubing hold, known only where a bladder scan anchors a closing point.</summary>
internal sealed class RetainedVolume(EpisodeLog log, BalanceSettings settings, DrainedOverTime drained)
{
    private readonly Timeline scans = log[Channel.Scan];

    /// <summary>The scan that anchors a closing point: the nearest one within reach that has no nearer closing point.</summary>
    public BladderScanned? At(Instant closing) =>
        scans.Count == 0
            ? null
            : scans
                .After(closing - settings.ScanReach - Duration.Epsilon, closing + settings.ScanReach)
                .Cast<BladderScanned>()
                .Where(scan => NearestClosing(scan.At) == closing)
                .MinBy(scan => Distance(scan.At, closing));

    /// <summary>The latest anchored closing point before an instant, and the scan that anchors it.</summary>
    public BladderScanned? LastBefore(Instant closing)
    {
        for (var i = scans.FirstAfter(closing + settings.ScanReach) - 1; i >= 0; i--)
        {
            if (NearestClosing(scans[i].At) is { } nearest && nearest < closing)
                return At(nearest);
        }

        return null;
    }

    /// <summary>The closing point nearest to an instant, the earlier of two as near; null where none is within reach.</summary>
    public Instant? NearestClosing(Instant at)
    {
        var before = drained.Closings.Before(at + Duration.Epsilon);
        var after = drained.Closings.After(at, at + settings.ScanReach).Cast<Instant?>().FirstOrDefault();
        var nearest = after is { } next && Distance(next, at) < Distance(before, at) ? next : before;
        return Distance(nearest, at) <= settings.ScanReach ? nearest : null;
    }

    private static Duration Distance(Instant one, Instant other) => one > other ? one - other : other - one;
}
