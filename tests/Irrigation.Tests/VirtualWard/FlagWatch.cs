using System.Globalization;
using System.Text.RegularExpressions;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Tests.Flags;
using NodaTime;

namespace Irrigation.Tests.VirtualWard;

/// <summary>A flag, at the moment at which it first came to a priority, or from possible to met.</summary>
/// <param name="Slug">Which.</param>
/// <param name="Start">When its pattern was there first.</param>
/// <param name="Priority">How soon somebody should look.</param>
/// <param name="Minute">When it was said.</param>
/// <param name="Says">What a nurse reads.</param>
/// <param name="Closing">The minute of the last closing of the bladder, at which a criterion is judged.</param>
internal sealed partial record RaisedFlag(string Slug, Instant Start, FlagPriority Priority, double Minute, string Says, double Closing)
{
    private static readonly (double Hours, double Threshold)[] Stages = [(6, 0.5), (12, 0.5), (24, 0.3)];

    /// <summary>Whether it is about fluid that does not come back.</summary>
    public bool AboutOutflow => Slug is "outflow-deficit" or "no-drainage";

    /// <summary>Whether it says that too little urine is made.</summary>
    public bool AboutLittleUrine => Slug is "urine-output-criterion" or "anuria" or "low-hourly-output" or "oliguria";

    /// <summary>Whether it says that a criterion is met.</summary>
    public bool OfCriterion => Slug == "urine-output-criterion";

    /// <summary>Whether it says no more than that a criterion may be met. The one place that knows the word.</summary>
    public static bool Possible(string slug, string says) =>
        slug == "urine-output-criterion" && says.Contains("possible", StringComparison.OrdinalIgnoreCase);

    /// <summary>Whether it says no more than that a criterion may be met.</summary>
    public bool IsPossible => Possible(Slug, Says);

    /// <summary>The stage of KDIGO that its text names; 1 where it names none.</summary>
    public int Stage => Named().Match(Says) is { Success: true } named ? int.Parse(named.Groups[1].Value, CultureInfo.InvariantCulture) : 1;

    /// <summary>Whether the stage that it names was really met when it was judged.</summary>
    public bool IsSo(WardBed bed)
    {
        var (hours, threshold) = Stages[Stage - 1];
        return bed.UrineRate(Closing - (hours * 60), Closing) < threshold;
    }

    [GeneratedRegex(@"stage (\d)", RegexOptions.IgnoreCase)]
    private static partial Regex Named();
}

/// <summary>The flags of a chart as the ward would have seen them, moment after moment.</summary>
internal static class FlagWatch
{
    /// <summary>The record at each moment at which something was charted or a rule looked again.</summary>
    public static IEnumerable<FlagRecord> Moments(IEnumerable<Entry> entries, int minutes)
    {
        var log = BedReplay.Nothing.Log.Append(entries.OrderBy(entry => entry.At), VirtualBed.Start).Log;
        var balance = FluidBalance.Of(log, BalanceSettings.Default);
        var record = FlagRecord.Of(balance, Story.Adult, FlagLimits.Default, VirtualBed.Start);
        var end = VirtualBed.Start + Duration.FromMinutes(minutes);
        yield return record;
        while (record.Next is { } next && next <= end)
        {
            record = record.After(balance, [], next).Record;
            yield return record;
        }
    }

    /// <summary>Each flag when it was first said, and said anew at another priority or no longer as possible.</summary>
    public static IEnumerable<RaisedFlag> Raised(IEnumerable<FlagRecord> moments)
    {
        var said = new HashSet<(string, Instant, FlagPriority, bool)>();
        foreach (var record in moments)
        {
            foreach (var flag in record.Standing)
            {
                var (priority, says) = (flag.Latest.Priority, flag.Latest.Says);
                if (!said.Add((flag.Slug, flag.Start, priority, RaisedFlag.Possible(flag.Slug, says))))
                    continue;
                var closing = ChartedBed.MinuteOf(record.Now.Balance.LastClosing);
                yield return new(flag.Slug, flag.Start, priority, ChartedBed.MinuteOf(record.AsOf), says, closing);
            }
        }
    }

    /// <summary>The flags of a charted bed, from its first hour to its last.</summary>
    public static IEnumerable<RaisedFlag> Raised(ChartedBed chart) => Raised(Moments(chart.Entries, chart.Bed.Minutes));
}
