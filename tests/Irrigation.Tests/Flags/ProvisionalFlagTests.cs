using Irrigation.Episodes;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>Flags that are raised while a bag still hangs, and what becomes of them when it is read.</summary>
public class ProvisionalFlagTests
{
    private const string Stage = "urine-output-criterion";

    /// <summary>A litre at 150 mL/h, and by 06:00 as much drained as ran in by the charted flow: no urine, as far as one knows.</summary>
    private static Ward NoUrine() => Opens("00:00").Weighs("00:00", 70).BagHung("00:00", 1000).Flow("00:00", 150).Emptied("06:00", 900);

    /// <summary>What is left in the bag, weighed.</summary>
    private static BagTakenDown Weighed(Ward ward, string clock, decimal left) =>
        new(ward.Header(clock, MeasuringWay.Weighed, recordedAt: "06:30", id: "bag"), "1", Ml(left));

    [Fact]
    public void While_the_bag_hangs_it_is_raised_and_says_that_it_is_provisional()
    {
        var record = NoUrine().Flags("06:00");
        Assert.Equal("06:00-", record.Stood(Stage));
        Assert.EndsWith(" This is provisional: a bag still hangs.", record.Says(Stage));
        Assert.True(record.Standing(Stage).Latest.Criterion!.Provisional);
    }

    [Fact]
    public void The_bag_is_read_and_it_was_so()
    {
        // Nearly empty, as it ought to be: 1000 · 1.0375 − 130 = 907 ran in, 900 came out.
        var ward = NoUrine();
        var record = ward.Chart(Weighed(ward, "06:05", 130)).Flags("06:30");
        Assert.Equal("06:00-", record.Stood(Stage));
        Assert.DoesNotContain("provisional", record.Says(Stage), StringComparison.Ordinal);
        Assert.False(record.Standing(Stage).Latest.Criterion!.Provisional);
    }

    [Fact]
    public void The_bag_is_read_and_much_less_had_run_so_that_it_ends()
    {
        // 500 of some 1037 mL are left: 537 ran in and 900 came out, 363 mL of urine. It was so as far as could be known at 06:00.
        var ward = NoUrine();
        Assert.Equal("06:00-06:05", ward.Chart(Weighed(ward, "06:05", 500)).Flags("06:30").Stood(Stage));
    }

    [Fact]
    public void A_reading_of_the_bag_from_before_that_arrives_later_takes_it_back()
    {
        var ward = NoUrine();
        var before = ward.Flags("06:20");
        Assert.Equal("06:00-", before.Stood(Stage));
        var (after, changes) = ward.Later(before, w => Weighed(w, "05:55", 500));
        Assert.Equal("", after.Stood(Stage));
        Assert.Null(Assert.Single(changes, c => c.Before?.Slug == Stage).After);
    }

    [Fact]
    public void A_correction_of_the_flow_works_it_out_again()
    {
        // Not 150 but 90 mL/h: 540 ran in by 06:00, 360 mL of urine.
        var ward = Opens("00:00").Weighs("00:00", 70).BagHung("00:00", 1000).Flow("00:00", 150).Emptied("06:00", 900);
        var flow = ward.Entries.OfType<FlowSet>().Single();
        var slower = flow with { Rate = Measures.FlowRate.FromMillilitresPerHour(90) };
        Assert.Equal("", ward.Later(ward.Flags("06:20"), _ => slower).Record.Stood(Stage));
    }

    /// <summary>60 mL/h charted from a bag that nobody reads, and so much weighed out each hour for two days; 1.006 g are 1 mL.</summary>
    private static Ward WeighedHourly(decimal millilitres)
    {
        var ward = Opens("00:00").Weighs("00:00", 70).BagHung("00:00", 5000).Flow("00:00", 60);
        for (var hour = 1; hour <= 48; hour++)
        {
            var header = ward.Header("00:00", MeasuringWay.Weighed) with { At = ward.At("00:00") + NodaTime.Duration.FromHours(hour) };
            ward.Chart(new DrainageWeighed(header, "1", Measures.Mass.FromGrams(millilitres * 1.006m), null, null, true));
        }

        return ward;
    }

    [Fact]
    public void No_urine_for_two_days_is_seen_though_no_bag_was_read()
    {
        var ward = WeighedHourly(60);
        Assert.Equal("06:00-", ward.Flags("+2 00:00").Stood(Stage));
        Assert.Contains("stage 2", ward.Flags("12:00").Says(Stage), StringComparison.Ordinal);
        Assert.Contains("stage 3", ward.Flags("+1 00:00").Says(Stage), StringComparison.Ordinal);
        Assert.Equal(FlagPriority.High, ward.Flags("+1 00:00").Priority(Stage));
        Assert.Equal(FlagPriority.Low, ward.Flags("+1 00:00").Priority("oliguria"));
    }

    [Theory]
    [InlineData(60, FlagPriority.Medium)] // nothing in 12 h is the best estimate
    [InlineData(64, FlagPriority.Medium)] // 12 · 4 = 48 mL
    [InlineData(65, null)] // 60 mL: more than 50, as likely as not
    public void That_it_is_none_at_all_is_possible_where_little_is_certain_and_no_more_than_50_mL_the_best_estimate(
        decimal millilitres,
        FlagPriority? priority
    ) => Assert.Equal(priority, WeighedHourly(millilitres).Flags("12:00").Priority("anuria"));
}
