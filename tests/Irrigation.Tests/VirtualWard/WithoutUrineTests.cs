using Xunit.Abstractions;

namespace Irrigation.Tests.VirtualWard;

/// <summary>Beds whose kidneys make nothing: what comes out is what ran in, and the ward has to hear of it.</summary>
public class WithoutUrineTests(ITestOutputHelper output)
{
    private const double Soon = 12;

    private static readonly Lazy<Bed[]> Beds = new(() => VirtualWards.Of(ChartingWay.Main, VirtualWards.PerBand / 5, Plan, Bed.Of));

    [Fact]
    public void At_up_to_300_ml_per_hour_it_is_flagged_within_12_hours_in_nine_of_ten_and_in_all_within_a_day()
    {
        Report.Write(
            output,
            4,
            "Beds without urine: hours to the first flag that says so",
            "Way | Flow, mL/h | Beds | Flagged within 12 h | within 24 h | within 48 h | Median, h | Longest, h | First",
            from way in Beds.Value.GroupBy(bed => bed.Way.Name)
            from band in way.GroupBy(bed => bed.Band)
            select Row(way.Key, band.Key, [.. band])
        );
        var slow = Beds.Value.Where(bed => bed.Band.To <= 300).ToList();

        // Where the flow is really a sixth faster than charted, what runs in unseen looks like urine until the bag is taken down.
        Assert.True(
            slow.Count(bed => bed.Hours <= Soon) >= 0.9 * slow.Count,
            $"{slow.Count(bed => bed.Hours > Soon)} of {slow.Count} are not"
        );
        Assert.All(slow, bed => Assert.True(bed.Hours <= 24));
    }

    private static BedPlan Plan(FlowBand band, bool titrated) => new(band, titrated, MakesUrine: false, Hours: 48);

    private static string Row(string way, FlowBand band, Bed[] beds)
    {
        var hours = beds.Select(bed => bed.Hours).Order().ToArray();
        var within = new[] { Soon, 24, 48 }.Select(limit => (object)hours.Count(h => h <= limit));
        var first = Report.Counted(beds.Select(bed => bed.Flag));
        return Report.Row([way, band, beds.Length, .. within, hours[hours.Length / 2], hours[^1], first]);
    }

    /// <summary>A bed without urine: after how many hours somebody was told, and by which flag.</summary>
    private sealed record Bed(ChartingWay Way, FlowBand Band, double Hours, string Flag)
    {
        public static Bed Of(ChartedBed chart, Random chance) =>
            FlagWatch.Raised(chart).FirstOrDefault(flag => flag.AboutLittleUrine) is { } first
                ? new(chart.Way, chart.Bed.Plan.Band, first.Minute / 60, (first.IsPossible ? "possible " : "") + first.Slug)
                : new(chart.Way, chart.Bed.Plan.Band, double.PositiveInfinity, "none");
    }
}
