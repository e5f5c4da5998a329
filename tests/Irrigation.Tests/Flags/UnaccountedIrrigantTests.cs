using Irrigation.Flags;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F10: BSGE/ESGE 2016 limits of hysteroscopy, borrowed: hypotonic 1000 mL (at risk 750), isotonic 2500 (1500); only in a procedure
/// (clinical reference 2.5).
/// </summary>
public class UnaccountedIrrigantTests
{
    private const string Slug = "unaccounted-irrigant";
    private static readonly LocalDate Elderly = new(1950, 5, 1),
        Young = new(1990, 5, 1);

    /// <summary>3 L run in within an hour of an endoscopic procedure.</summary>
    private static FlagRecord Procedure(string? solution, decimal missing, LocalDate? born, bool during = true) =>
        Opens("18:00")
            .Hangs("18:00", 3000, solution)
            .Flow("18:00", 3000)
            .Level("18:00", 0)
            .BagTakenDown("19:00", 0)
            .Level("19:00", 3000 - missing)
            .Exactly("19:00", Story.Aged(born) with { DuringProcedure = during });

    [Theory]
    [InlineData("glycine 1.5 %", 749, true, false)]
    [InlineData("glycine 1.5 %", 750, true, true)]
    [InlineData("glycine 1.5 %", 999, false, false)]
    [InlineData("glycine 1.5 %", 1000, false, true)]
    [InlineData("sodium chloride 0.9 %", 1499, true, false)]
    [InlineData("sodium chloride 0.9 %", 1500, true, true)]
    [InlineData("sodium chloride 0.9 %", 2499, false, false)]
    [InlineData("sodium chloride 0.9 %", 2500, false, true)]
    [InlineData(null, 750, true, true)] // what nobody named is taken as the worse
    public void The_limit_goes_by_irrigant_and_risk(string? solution, decimal missing, bool elderly, bool raised) =>
        Assert.Equal(raised ? FlagPriority.High : null, Procedure(solution, missing, elderly ? Elderly : Young).Priority(Slug));

    [Theory] // 8 years: an expected bladder of 270 of 500 mL, so 0.54 of 1000 and 2500 mL
    [InlineData("glycine 1.5 %", 539, false)]
    [InlineData("glycine 1.5 %", 540, true)]
    [InlineData("sodium chloride 0.9 %", 1349, false)]
    [InlineData("sodium chloride 0.9 %", 1350, true)]
    public void A_child_bears_less(string solution, decimal missing, bool raised)
    {
        var record = Procedure(solution, missing, new(2018, 1, 10));
        Assert.Equal(raised ? FlagPriority.High : null, record.Priority(Slug));
        if (raised)
            Assert.EndsWith(", a child of 8 years.", record.Says(Slug), StringComparison.Ordinal);
    }

    [Fact]
    public void Unknown_age_is_at_risk() => Assert.Equal(FlagPriority.High, Procedure("glycine 1.5 %", 750, null).Priority(Slug));

    [Fact]
    public void On_a_ward_the_outflow_deficit_says_it()
    {
        var ward = Procedure("glycine 1.5 %", 1000, Elderly, during: false);
        Assert.Null(ward.Priority(Slug));
        Assert.Equal(FlagPriority.Urgent, ward.Priority("outflow-deficit"));
    }

    [Fact]
    public void What_ran_in_and_nobody_charted_is_undecided() =>
        Assert.Equal(
            ("what drained or ran in from 18:00 to 19:00 is not known", "readings of the bag and of the drainage"),
            Opens("18:00")
                .Hangs("18:00", 3000, "glycine")
                .Level("18:00", 0)
                .Level("19:00", 900)
                .Flags("19:00", Story.Adult with { DuringProcedure = true })
                .Undecided(Slug)
        );

    [Fact]
    public void The_words_say_deficit_and_never_absorption()
    {
        var says = Procedure("glycine 1.5 %", 800, Elderly).Says(Slug);
        Assert.Equal(
            "800 mL of irrigant not accounted for from 18:00 to 19:00: 3,000 mL in, 2,200 mL out, urine taken as 0. "
                + "The 95 % interval is 800 to 800 mL. The limit is 750 mL for glycine 1.5 %, taken as hypotonic or without electrolytes, "
                + "patient at risk or of unknown age.",
            says
        );
        Assert.Contains("not absorption", UnaccountedIrrigant.Rule.Caution, StringComparison.Ordinal);
    }
}
