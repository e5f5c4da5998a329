using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>F16: limits of medicated and hypotonic irrigants (US labels; J Urol 1992;147:697; clinical reference 2.5 and 2.6).</summary>
public class MedicatedLimitTests
{
    private const string Slug = "medicated-limit";

    private static Ward Runs(string? solution) => Opens("18:00").Hangs("18:00", 1000, solution).Flow("18:00", 42);

    [Fact]
    public void Neomycin_is_for_ten_days_and_then_it_is_told()
    {
        var ward = Opens("18:00")
            .Ordered("18:00", o => o with { Additive = "neomycin-polymyxin B" })
            .BagHung("18:00", 1000)
            .Flow("18:00", 42);
        var day10 = ward.Flags("+9 18:00");
        Assert.Null(day10.Priority(Slug));
        Assert.Equal(
            "24 Mar 18:00",
            day10.Said(Slug).LookAgain is { } due ? due.ToString("d MMM HH:mm", System.Globalization.CultureInfo.InvariantCulture) : ""
        );
        Assert.Equal(
            "neomycin-polymyxin since 14 Mar 18:00: the label's 10 days ended at 18:00.",
            FlagRecord.Of(ward.Balance(), Story.Adult, FlagLimits.Default, day10.Said(Slug).LookAgain!.Value).Says(Slug)
        );
    }

    [Fact]
    public void Neomycin_is_not_clamped()
    {
        var ward = Opens("18:00")
            .Ordered("18:00", o => o with { Additive = "neomycin-polymyxin B" })
            .BagHung("18:00", 1000)
            .Flow("18:00", 42)
            .Clamp("19:00")
            .Release("19:30");
        Assert.Equal("19:00-19:30", ward.Flags("20:00").Stood(Slug));
    }

    [Fact]
    public void What_hangs_counts_also_without_an_order() =>
        Assert.Equal("19:00-", Runs("neomycin-polymyxin B in sodium chloride 0.9 %").Clamp("19:00").Flags("19:10").Stood(Slug));

    [Fact]
    public void Hypotonic_on_a_ward_is_told_and_saline_is_not()
    {
        Assert.Equal(
            "sterile water, taken as hypotonic or without electrolytes, runs on a ward: it is absorbed.",
            Runs("sterile water").Flags("18:10").Says(Slug)
        );
        Assert.Equal("", Runs("sodium chloride 0.9 %").Flags("23:00").Stood(Slug));
        Assert.Equal("", Runs(null).Flags("23:00").Stood(Slug));
        Assert.Equal("", Runs("glycine 1.5 %").Flags("23:00", Story.Adult with { DuringProcedure = true }).Stood(Slug));
        Assert.Equal("18:00-18:30", Runs("sterile water").BagTakenDown("18:30", 900).Flags("19:00").Stood(Slug));
    }

    [Fact]
    public void What_it_depends_on_and_is_not_on_record_is_undecided()
    {
        Assert.Equal(
            ("alum is in use, and the renal function is not on record", "the renal function"),
            Runs("alum 1 %").Flags("18:10").Undecided(Slug)
        );
        Assert.Equal("a look at the order and the patient", Runs("acetic acid 0.25 %").Flags("18:10").Undecided(Slug).Needs);
        Assert.Equal(
            "acetic acid in an endoscopic procedure: the label says not for transurethral surgery.",
            Runs("acetic acid 0.25 %").Flags("18:10", Story.Adult with { DuringProcedure = true }).Says(Slug)
        );
    }
}
