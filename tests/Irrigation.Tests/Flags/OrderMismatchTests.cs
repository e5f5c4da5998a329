using Irrigation.Episodes;
using Irrigation.Measures;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F15: what is done is not what was ordered, no order, an expired one, two identifiers not checked (common practice; clinical reference
/// 9).
/// </summary>
public class OrderMismatchTests
{
    private const string Slug = "order-mismatch";

    private static Ward Ordered(Func<OrderSet, OrderSet> says) =>
        Opens("18:00").Checks("18:00").Ordered("18:00", says).Hangs("18:00", 3000, "Sodium chloride 0.9 %").Flow("18:00", 300);

    [Fact]
    public void Without_an_order_or_identifiers_it_is_told_an_hour_after_the_beginning()
    {
        var ward = Opens("18:00").BagHung("18:10", 3000).Flow("18:10", 300);
        Assert.Equal("", ward.Flags("19:09").Stood(Slug));
        Assert.Equal("there is no order. Two identifiers were not checked.", ward.Flags("19:10").Says(Slug));
        Assert.Equal(
            "two identifiers were not checked.",
            Opens("18:00")
                .Checks("18:00", "name")
                .Ordered("18:00", o => o)
                .BagHung("18:00", 3000)
                .Flow("18:00", 300)
                .Flags("19:00")
                .Says(Slug)
        );
        Assert.Equal("19:10-19:30", ward.Ordered("19:30", o => o).Checks("19:30").Flags("20:00").Stood(Slug));
    }

    [Fact]
    public void Irrigation_that_goes_on_after_the_order_has_expired_is_told_to_the_minute()
    {
        var until = Opens("18:00").At("20:00");
        Assert.Equal("20:00-20:20", Ordered(o => o with { Until = until }).Flow("20:20", 0).Flags("21:00").Stood(Slug));
        Assert.Equal(
            "the order expired at 20:00 and irrigation goes on.",
            Ordered(o => o with { Until = until }).Flags("20:10").Says(Slug)
        );
    }

    [Theory]
    [InlineData(299, "at least 300 mL/h is ordered and 299 mL/h runs.")]
    [InlineData(300, null)]
    [InlineData(500, null)]
    [InlineData(501, "at most 500 mL/h is ordered and 501 mL/h runs.")]
    public void The_ordered_range_includes_its_ends(decimal flow, string? says)
    {
        var record = Ordered(o => o with { AtLeast = FlowRate.FromMillilitresPerHour(300), AtMost = FlowRate.FromMillilitresPerHour(500) })
            .Flow("18:30", flow)
            .Flags("18:40");
        Assert.Equal(says is null ? "" : "18:30-", record.Stood(Slug));
        if (says is not null)
            Assert.Equal(says, record.Says(Slug));
    }

    [Fact]
    public void Another_solution_or_method_than_ordered_is_told()
    {
        Assert.Equal(
            "sterile water is ordered and Sodium chloride 0.9 % hangs on line 1.",
            Ordered(o => o with { Solution = "sterile water" }).Flags("18:10").Says(Slug)
        );
        Assert.Equal("", Ordered(o => o with { Solution = "sodium chloride 0.9%" }).Flags("18:10").Stood(Slug)); // the same words
        Assert.Equal(
            "intermittent manual irrigation is ordered and 300 mL/h runs continuously.",
            Ordered(o => o with { Method = "intermittent-manual" }).Flags("18:10").Says(Slug)
        );
        Assert.Equal(
            "continuous irrigation is ordered and only syringes are charted.",
            Opens("18:00")
                .Checks("18:00")
                .Ordered("18:00", o => o with { Method = "continuous" })
                .Syringe("18:10", 50)
                .Flags("18:10")
                .Says(Slug)
        );
    }

    [Theory]
    [InlineData(50, "")]
    [InlineData(51, "18:10-")]
    public void A_syringe_above_the_ordered_amount_is_told(decimal given, string stood) =>
        Assert.Equal(
            stood,
            Opens("18:00")
                .Checks("18:00")
                .Ordered("18:00", o => o with { Method = "intermittent-manual", Amount = Ml(50) })
                .Syringe("18:10", given)
                .Flags("18:30")
                .Stood(Slug)
        );

    [Fact]
    public void A_new_order_that_was_charted_late_retracts_it()
    {
        var ward = Ordered(o => o with { AtMost = FlowRate.FromMillilitresPerHour(200) });
        var (after, _) = ward.Later(
            ward.Flags("18:30"),
            w => new OrderSet(w.Header("18:00", recordedAt: "18:30", id: "late")) { AtMost = FlowRate.FromMillilitresPerHour(400) }
        );
        Assert.Equal("", after.Stood(Slug));
    }
}
