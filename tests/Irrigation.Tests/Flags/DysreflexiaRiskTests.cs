using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F20: spinal cord injury at or above T6 and a bladder that may be full: urgent (Can-SCIP / PVA 2020, clinical reference 6 and 9).
/// </summary>
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
    public void At_or_above_T6(string? level, bool raised) =>
        Assert.Equal(raised ? FlagPriority.Urgent : null, Blocked().Flags("19:10", Injured(level)).Priority(Slug));

    [Theory]
    [InlineData("high")]
    [InlineData("T0")]
    [InlineData("C9")]
    public void A_level_that_is_none_is_undecided(string level) =>
        Assert.Equal(
            ($"'{level}' is not a level like T4", "the level of the injury"),
            Blocked().Flags("19:10", Injured(level)).Undecided(Slug)
        );

    [Fact]
    public void Every_sign_of_a_full_bladder_counts_at_the_moment_it_is_charted()
    {
        Assert.Equal("19:00-", Opens("18:00").Feels("19:00", distended: true).Flags("19:00", Injured("T4")).Stood(Slug));
        Assert.Equal(
            "18:30-",
            Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 100).Clamp("18:30").Flags("18:30", Injured("T4")).Stood(Slug)
        );
        Assert.Equal(
            "19:00-",
            Opens("18:00")
                .Ordered("18:00", o => o with { Dwell = NodaTime.Duration.FromMinutes(60) })
                .Clamp("18:00")
                .Bears("18:29")
                .Flags("19:00", Injured("T4"))
                .Stood(Slug)
        );
        Assert.Equal("19:00-19:40", Blocked().Emptied("19:40", 1000).Flags("20:00", Injured("T4")).Stood(Slug));
    }

    private static Ward Measures(Ward ward, string clock, decimal systolic) =>
        ward.Chart(new BloodPressureMeasured(ward.Header(clock), Pressure.FromMillimetresOfMercury(systolic), null));

    private static PatientFacts WithBaseline(decimal? systolic, PatientFacts? patient = null) =>
        (patient ?? Story.Adult) with
        {
            SpinalLevel = "T4",
            BaselineSystolic = systolic is { } usual ? Pressure.FromMillimetresOfMercury(usual) : null,
        };

    [Theory]
    [InlineData(120, null)] // 20 over 100 is not more than 20 over it
    [InlineData(121, FlagPriority.Urgent)]
    [InlineData(301, null)] // cannot be a pressure
    public void A_systolic_pressure_more_than_20_over_the_baseline_is_urgent_though_nothing_else_shows(
        decimal systolic,
        FlagPriority? priority
    ) => Assert.Equal(priority, Measures(Opens("18:00"), "18:30", systolic).Flags("18:30", WithBaseline(100)).Priority(Slug));

    [Fact]
    public void A_nurse_reads_the_pressure_the_rise_and_the_baseline()
    {
        var alone = Measures(Opens("18:00"), "18:30", 150);
        Assert.Equal(
            "spinal cord injury at T4, and systolic 150 mmHg at 18:30, more than 20 mmHg over the baseline of 110 mmHg.",
            alone.Flags("18:31", WithBaseline(110)).Says(Slug)
        );
        var both = Measures(Blocked(), "19:05", 150);
        Assert.Equal(
            "spinal cord injury at T4, and outflow deficit since 19:00. No drainage since 19:00. "
                + "Systolic 150 mmHg at 19:05, more than 20 mmHg over the baseline of 110 mmHg.",
            both.Flags("19:10", WithBaseline(110)).Says(Slug)
        );
    }

    [Fact]
    public void Only_the_next_pressure_ends_it_for_silence_is_no_pressure_that_fell()
    {
        var ward = Measures(Opens("18:00"), "18:30", 150);
        Assert.Equal("18:30-", ward.Flags("19:30", WithBaseline(110)).Stood(Slug));
        Assert.Equal(
            ("systolic 150 mmHg at 18:30, and none was charted since: what it is now is not known", "another blood pressure"),
            ward.Flags("18:45", WithBaseline(110)).Undecided(Slug)
        );
        Assert.Equal("18:30-19:40", Measures(ward, "19:40", 115).Flags("20:00", WithBaseline(110)).Stood(Slug));
    }

    [Fact]
    public void Without_a_baseline_or_an_adult_it_is_not_decided_for_as_long_as_the_pressure_says_how_it_is()
    {
        var ward = Measures(Opens("18:00"), "18:30", 150);
        Assert.Equal(
            ("systolic 150 mmHg at 18:30, and no baseline is on record", "the baseline systolic pressure"),
            ward.Flags("18:44", WithBaseline(null)).Undecided(Slug)
        );
        Assert.IsType<Finding.NotRaised>(ward.Flags("18:45", WithBaseline(null)).Said(Slug));
        Assert.Equal("the date of birth", ward.Flags("18:31", WithBaseline(110, Story.OfUnknownAge)).Undecided(Slug).Needs);
        Assert.StartsWith(
            "a limit for children",
            ward.Flags("18:31", WithBaseline(110, Story.Child)).Undecided(Slug).Needs,
            StringComparison.Ordinal
        );
        Assert.IsType<Finding.NotRaised>(ward.Flags("18:31", WithBaseline(110) with { SpinalLevel = "T7" }).Said(Slug));
        Assert.IsType<Finding.NotRaised>(ward.Flags("18:31", WithBaseline(110) with { SpinalLevel = null }).Said(Slug));
    }

    [Fact]
    public void A_full_bladder_counts_whatever_the_pressure_and_the_age() =>
        Assert.Equal(FlagPriority.Urgent, Measures(Blocked(), "19:05", 90).Flags("19:10", WithBaseline(110, Story.Child)).Priority(Slug));

    [Theory]
    [InlineData(39, "18:30-")]
    [InlineData(40, "")]
    [InlineData(300, "")]
    [InlineData(301, "18:30-")]
    public void A_pressure_that_cannot_be_is_implausible(decimal systolic, string stood) =>
        Assert.Equal(stood, Measures(Opens("18:00"), "18:30", systolic).Flags("18:40").Stood("implausible"));

    [Fact]
    public void A_nurse_reads_what_triggers_it() =>
        Assert.Equal(
            "spinal cord injury at T4, and outflow deficit since 19:00. No drainage since 19:00.",
            Blocked().Flags("19:10", Injured("T4")).Says(Slug)
        );
}
