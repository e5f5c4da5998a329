using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>F20: spinal cord injury at or above T6 and a bladder that may be full: urgent (Can-SCIP / PVA 2020, clinical reference 6 and 9).</summary>
public class DysreflexiaRiskTests
{
    private const string Slug = "dysreflexia-risk";

    private static PatientFacts Injured(string? level) => Story.Adult with { SpinalLevel = level };

    private static Ward Blocked() => Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", 0);

    [Theory]
    [InlineData("C5", true)]
    [InlineData("T6", true)]
    [InlineData("t4", true)]
    [InlineData("T7", false)]
    [InlineData("L1", false)]
    [InlineData(null, false)]
    public void At_or_above_T6(string? level, bool raised) => Assert.Equal(raised ? FlagPriority.Urgent : null, Blocked().Flags("19:10", Injured(level)).Priority(Slug));

    [Theory]
    [InlineData("high")]
    [InlineData("T0")]
    [InlineData("C9")]
    public void A_level_that_is_none_is_undecided(string level) => Assert.Equal(($"'{level}' is not a level like T4", "the level of the injury"), Blocked().Flags("19:10", Injured(level)).Undecided(Slug));

    [Fact]
    public void Every_sign_of_a_full_bladder_counts_at_the_moment_it_is_charted()
    {
        Assert.Equal("19:00-", Opens("18:00").Feels("19:00", distended: true).Flags("19:00", Injured("T4")).Stood(Slug));
        Assert.Equal("18:30-", Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 100).Clamp("18:30").Flags("18:30", Injured("T4")).Stood(Slug));
        Assert.Equal("19:00-", Opens("18:00").Ordered("18:00", o => o with { Dwell = NodaTime.Duration.FromMinutes(60) }).Clamp("18:00").Bears("18:29").Flags("19:00", Injured("T4")).Stood(Slug));
        Assert.Equal("19:00-19:40", Blocked().Emptied("19:40", 2000).Flags("20:00", Injured("T4")).Stood(Slug));
    }

    [Fact]
    public void A_nurse_reads_what_triggers_it() =>
        Assert.Equal("spinal cord injury at T4, and outflow-deficit since 19:00, no-drainage since 19:00.", Blocked().Flags("19:10", Injured("T4")).Says(Slug));
}
