using Irrigation.Episodes;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>As felt; over at a palpation without it, a catheter exchanged, or a scan of no more than 100 mL (our judgement).</summary>
public class BladderDistensionTests
{
    private const string Slug = "bladder-distension";

    private static Ward Felt() => Opens("18:00").Feels("19:00", distended: true);

    private static Ward Exchanged(Ward ward, string clock) => ward.Chart(new CatheterInserted(ward.Header(clock), "three-way", 22, 3));

    [Theory]
    [InlineData("20:00", 20, "19:00-20:00")]
    [InlineData("20:00", 100, "19:00-20:00")]
    [InlineData("20:00", 101, "19:00-")]
    [InlineData("19:00", 20, "19:00-")] // at the same minute: which came first nobody knows
    [InlineData("18:50", 20, "19:00-")]
    public void A_scan_of_little_ends_it(string scanned, decimal held, string stood) =>
        Assert.Equal(stood, Felt().Scan(scanned, held).Flags("21:00").Stood(Slug));

    [Fact]
    public void What_is_little_goes_by_the_bladder()
    {
        // 3 years: 120 of 500 mL, so 24 mL; and 8 years: 54 mL.
        Assert.Equal("19:00-20:00", Felt().Scan("20:00", 24).Flags("21:00", Story.Aged(new(2023, 2, 1))).Stood(Slug));
        Assert.Equal("19:00-", Felt().Scan("20:00", 25).Flags("21:00", Story.Aged(new(2023, 2, 1))).Stood(Slug));
        Assert.Equal("19:00-20:00", Felt().Scan("20:00", 54).Flags("21:00", Story.Child).Stood(Slug));
        Assert.Equal("19:00-", Felt().Scan("20:00", 54).Flags("21:00", Story.Adult with { BladderCapacity = Ml(200) }).Stood(Slug));
        Assert.Equal("19:00-20:00", Felt().Scan("20:00", 40).Flags("21:00", Story.Adult with { BladderCapacity = Ml(200) }).Stood(Slug));
    }

    [Fact]
    public void A_catheter_exchanged_after_it_ends_it_and_one_before_it_does_not()
    {
        Assert.Equal("19:00-19:30", Exchanged(Felt(), "19:30").Flags("21:00").Stood(Slug));
        Assert.Equal("19:00-", Exchanged(Felt(), "18:30").Flags("21:00").Stood(Slug));
        Assert.Equal("19:00-", Exchanged(Felt(), "19:00").Flags("21:00").Stood(Slug));
    }

    [Fact]
    public void Felt_again_it_is_a_new_flag_and_a_large_scan_alone_is_none()
    {
        Assert.Equal("19:00-20:00, 21:00-", Felt().Scan("20:00", 20).Feels("21:00", distended: true).Flags("22:00").Stood(Slug));
        Assert.Equal("19:00-20:00", Felt().Scan("20:00", 20).Scan("21:00", 150).Flags("22:00").Stood(Slug));
    }

    [Fact]
    public void Not_assessed_ends_nothing_and_a_scan_after_it_does()
    {
        var ward = Felt().Feels("20:00", distended: null);
        Assert.Equal("19:00-", ward.Flags("20:30").Stood(Slug));
        Assert.Equal("at 20:00 whether it is distended was not assessed", ward.Flags("20:30").Undecided(Slug).Why);
        Assert.Equal("19:00-20:40", ward.Scan("20:40", 20).Flags("21:00").Stood(Slug));
        Assert.IsType<Finding.NotRaised>(Opens("18:00").Feels("19:00", null).Scan("19:10", 20).Flags("20:00").Said(Slug));
        Assert.IsType<Finding.NotRaised>(Felt().Scan("19:30", 20).Feels("20:00", null).Flags("20:30").Said(Slug)); // it was over before
        Assert.IsType<Finding.Undecided>(Opens("18:00").Feels("18:30", false).Feels("19:00", null).Flags("20:00").Said(Slug));
    }

    [Fact]
    public void A_nurse_reads_when_it_was_felt()
    {
        var record = Felt().Flags("20:00");
        Assert.Equal("the bladder was felt distended at 19:00.", record.Says(Slug));
        Assert.Equal(FlagPriority.High, record.Priority(Slug));
        Assert.Single(record.Standing(Slug).Latest.Evidence);
    }

    [Fact]
    public void A_scan_charted_late_ends_it_when_it_was_taken()
    {
        var ward = Felt();
        BladderScanned Late(Ward w) => new(w.Header("19:40", recordedAt: "21:00", id: "late"), Ml(20));
        var (after, _) = ward.Later(ward.Flags("21:00"), Late);
        Assert.Equal("19:00-19:40", after.Stood(Slug));
    }
}
