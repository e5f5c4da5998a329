using Irrigation.Flags;
using Xunit.Abstractions;

namespace Irrigation.Tests.VirtualWard;

/// <summary>Beds charted with published errors: is too little urine flagged, a blocked catheter found, and how often does the ward hear wolf?</summary>
public class PublishedErrorFlagTests(ITestOutputHelper output)
{
    private const double Within = 12;
    private static readonly IReadOnlyList<ChartingWay> FaultyWays = [.. ChartingWay.Hourly, ChartingWay.AsOnWards[1]];

    private static readonly Lazy<NoUrine[]> WithoutUrine = new(() =>
        VirtualWards.Of(ChartingWay.Main, VirtualWards.PerBand / 5, (band, titrated) => new(band, titrated, MakesUrine: false, Hours: 48), NoUrine.Of));

    private static readonly Lazy<QuietBed[]> Quiet = new(() =>
    [
        .. VirtualWards.Of(ChartingWay.Hourly, VirtualWards.PerBand / 4, (band, titrated) => new(band, titrated), QuietBed.Of),
        .. VirtualWards.Of(ChartingWay.AsOnWards, VirtualWards.PerBand / 4, (band, titrated) => new(band, titrated), QuietBed.Of),
    ]);

    private static readonly Lazy<FaultFound[]> Faulty = new(() =>
    [
        .. Enum.GetValues<Fault>().Where(fault => fault != Fault.None).SelectMany(fault =>
            VirtualWards.Of(FaultyWays, VirtualWards.PerBand / 20, (band, titrated) => new(band, titrated, Fault: fault), FaultFound.Of)),
    ]);

    [Fact]
    public void A_bed_without_urine_is_flagged_within_12_hours_at_up_to_300_ml_per_hour()
    {
        Report.Write(
            output,
            4,
            "Beds without urine: hours to the first flag that says so",
            "Way | Flow, mL/h | Beds | Flagged within 12 h | within 24 h | within 48 h | Median | Longest | First",
            from way in WithoutUrine.Value.GroupBy(bed => bed.Way.Name)
            from band in way.GroupBy(bed => bed.Band)
            select Row(way.Key, band.Key, [.. band]));
        var slow = WithoutUrine.Value.Where(bed => bed.Band.To <= 300).ToList();
        Assert.True(slow.All(bed => bed.Hours <= Within), $"{slow.Count(bed => !(bed.Hours <= Within))} of {slow.Count} are not");

        static string Row(string way, FlowBand band, NoUrine[] beds)
        {
            var hours = beds.Select(bed => bed.Hours ?? double.PositiveInfinity).Order().ToArray();
            var first = beds.GroupBy(bed => bed.Flag ?? "none").OrderByDescending(flag => flag.Count());
            return FormattableString.Invariant($"{way} | {band} | {beds.Length} | {hours.Count(h => h <= 12)} | {hours.Count(h => h <= 24)} | {hours.Count(h => h <= 48)}")
                + FormattableString.Invariant($" | {hours[hours.Length / 2]:0.0} | {hours[^1]:0.0} | {string.Join(", ", first.Select(f => $"{f.Key} {f.Count()}"))}");
        }
    }

    [Fact]
    public void At_hourly_rounds_at_most_one_urgent_flag_in_1000_hours_is_false()
    {
        WriteQuiet();
        var hourly = Quiet.Value.Where(bed => bed.Way.Every == 60).ToArray();
        Assert.InRange(PerThousandHours(hourly, flag => flag.Priority == FlagPriority.Urgent), 0, 1);
    }

    [Fact]
    public void At_most_five_possible_criterion_flags_in_1000_hours_are_wrong()
    {
        WriteQuiet();
        Assert.InRange(PerThousandHours(Quiet.Value, flag => flag.IsPossible, wrong: true), 0, 5);
    }

    [Fact]
    public void An_obstruction_is_found()
    {
        Report.Write(
            output,
            6,
            "Faults: from the fault to the first flag about the outflow after it",
            "Rounds | Fault | Flow, mL/h | Beds | Found | Minutes, median | of 95 in 100 | Retained, mL, median | of 95 in 100",
            from way in Faulty.Value.GroupBy(bed => bed.Way.Name)
            from fault in way.GroupBy(bed => bed.Fault)
            from band in fault.GroupBy(bed => bed.Band.ToString()).Select(beds => (beds.Key, Beds: beds.ToArray())).Append(("all", fault.ToArray()))
            select Row(way.Key, fault.Key, band.Item1, band.Item2));
        var blocked = Faulty.Value.Where(bed => bed.Fault is Fault.Sudden or Fault.Slow && bed.Way.Every == 60).ToArray();
        Assert.All(blocked, bed => Assert.NotNull(bed.Minutes));

        static string Row(string way, Fault fault, string band, FaultFound[] beds)
        {
            var found = beds.Where(bed => bed.Minutes is not null).ToArray();
            var (minutes, retained) = (found.Select(b => b.Minutes!.Value).Order().ToArray(), found.Select(b => b.Retained).Order().ToArray());
            var held = fault is Fault.Leak or Fault.WrongBag ? " | " : FormattableString.Invariant($"{At(retained, 0.5):0} | {At(retained, 0.95):0}");
            return FormattableString.Invariant($"{way} | {Slug.Of(fault)} | {band} | {beds.Length} | {found.Length} | {At(minutes, 0.5):0} | {At(minutes, 0.95):0} | ") + held;
        }
    }

    private void WriteQuiet() => Report.Write(
        output,
        5,
        "Beds without a fault: flags per 1000 h",
        "Way | Flow, mL/h | Hours | Urgent, all false | which | Possible criterion | of them wrong | Criterion met | of them wrong | Other flags of high priority",
        from way in Quiet.Value.GroupBy(bed => bed.Way.Name)
        from band in way.GroupBy(bed => bed.Chart.Bed.Plan.Band.ToString()).Select(beds => (beds.Key, Beds: beds.ToArray())).Append(("all", way.ToArray()))
        select QuietRow(way.Key, band.Item1, band.Item2));

    private static string QuietRow(string way, string band, QuietBed[] beds)
    {
        var high = beds.SelectMany(bed => bed.Flags).Where(flag => flag is { Priority: FlagPriority.High, OfCriterion: false }).Select(flag => flag.Slug);
        var urgent = beds.SelectMany(bed => bed.Flags).Where(flag => flag.Priority == FlagPriority.Urgent).Select(flag => flag.Slug);
        return FormattableString.Invariant($"{way} | {band} | {beds.Sum(bed => bed.Hours)} | {PerThousandHours(beds, flag => flag.Priority == FlagPriority.Urgent):0.0} | {Counted(urgent)}")
            + FormattableString.Invariant($" | {PerThousandHours(beds, flag => flag.IsPossible):0.0} | {PerThousandHours(beds, flag => flag.IsPossible, wrong: true):0.0}")
            + FormattableString.Invariant($" | {PerThousandHours(beds, Met):0.0} | {PerThousandHours(beds, Met, wrong: true):0.0} | {Counted(high)}");

        static bool Met(RaisedFlag flag) => flag is { OfCriterion: true, IsPossible: false };
    }

    private static string Counted(IEnumerable<string> slugs) =>
        string.Join(", ", slugs.GroupBy(slug => slug).OrderByDescending(slug => slug.Count()).Select(slug => $"{slug.Key} {slug.Count()}"));

    private static double PerThousandHours(QuietBed[] beds, Func<RaisedFlag, bool> which, bool wrong = false) =>
        1000.0 * beds.Sum(bed => bed.Flags.Count(flag => which(flag) && !(wrong && flag.IsSo(bed.Chart.Bed)))) / beds.Sum(bed => bed.Hours);

    private static double At(double[] ordered, double part) => ordered.Length == 0 ? double.NaN : ordered[Math.Min(ordered.Length - 1, (int)(part * ordered.Length))];

    /// <summary>A bed without urine: after how many hours somebody was told, and by which flag; null within 48 h.</summary>
    private sealed record NoUrine(ChartingWay Way, FlowBand Band, double? Hours, string? Flag)
    {
        public static NoUrine Of(ChartedBed chart, Random chance)
        {
            var first = FlagWatch.Raised(chart).FirstOrDefault(flag => flag.AboutLittleUrine);
            return new(chart.Way, chart.Bed.Plan.Band, first?.Minute / 60, first is { IsPossible: true } ? $"possible {first.Slug}" : first?.Slug);
        }
    }

    /// <summary>A bed without a fault, and every flag that it had.</summary>
    private sealed record QuietBed(ChartedBed Chart, IReadOnlyList<RaisedFlag> Flags)
    {
        public ChartingWay Way => Chart.Way;

        public int Hours => Chart.Bed.Plan.Hours;

        public static QuietBed Of(ChartedBed chart, Random chance) => new(chart, [.. FlagWatch.Raised(chart)]);
    }

    /// <summary>A fault: the minutes from it to the first flag about the outflow, and what the bladder retained by then.</summary>
    private sealed record FaultFound(ChartingWay Way, FlowBand Band, Fault Fault, double? Minutes, double Retained)
    {
        public static FaultFound Of(ChartedBed chart, Random chance)
        {
            var bed = chart.Bed;
            var first = FlagWatch.Raised(chart).FirstOrDefault(flag => flag.AboutOutflow && flag.Minute > bed.Onset);
            return new(chart.Way, bed.Plan.Band, bed.Plan.Fault, first?.Minute - bed.Onset, first is null ? 0 : bed.Retained(first.Minute));
        }
    }
}
