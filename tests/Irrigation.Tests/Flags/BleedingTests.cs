using System.Collections.Immutable;
using Irrigation.Flags;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F11: a grade more than at the last look on the same scale, one of the two bloodiest, or new clots (Stout, Urology 2021;149:32-36; our
/// judgement).
/// </summary>
public class BleedingTests
{
    private const string Slug = "bleeding-worse";

    private static readonly FlagLimits FiveGrades = Graded(5);

    private static FlagLimits Graded(int grades)
    {
        var scales = ImmutableSortedDictionary<string, ColourScale>.Empty.Add("five grades", new(grades));
        return FlagLimits.Default with { Flags = FlagSettings.Default with { Scales = scales } };
    }

    private static Ward Irrigated() => Ward.Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 300);

    [Fact]
    public void A_grade_more_raises_it_and_a_grade_below_clears_it()
    {
        var ward = Irrigated().Looks("18:10", 2).Looks("19:00", 3).Looks("20:00", 3).Looks("21:00", 2).Looks("22:00", 3);
        Assert.Equal("19:00-21:00, 22:00-", ward.Flags("23:00").Stood(Slug));
        Assert.Equal("grade 3 on 'five grades' at 22:00, after grade 2 at 21:00.", ward.Flags("23:00").Says(Slug));
        Assert.Equal("", Irrigated().Looks("18:10", 3).Looks("19:00", 3).Looks("20:00", 2).Flags("23:00").Stood(Slug));
    }

    [Theory]
    [InlineData(3, null)]
    [InlineData(4, FlagPriority.High)]
    [InlineData(5, FlagPriority.High)]
    public void The_two_bloodiest_grades_raise_it_at_the_first_look_where_the_scale_is_known(int grade, FlagPriority? priority) =>
        Assert.Equal(priority, Irrigated().Looks("18:10", grade).Flags("18:10", limits: FiveGrades).Priority(Slug));

    [Fact]
    public void Of_an_unknown_scale_the_first_look_is_undecided() =>
        Assert.Equal(
            "the next look on the same scale, or the scale in the settings",
            Irrigated().Looks("18:10", 4).Flags("18:10").Undecided(Slug).Needs
        );

    [Fact]
    public void Two_scales_are_not_compared()
    {
        Assert.Equal("", Irrigated().Looks("18:10", 1, scale: "four cards").Looks("19:00", 3).Flags("19:30").Stood(Slug));
        var raised = Irrigated().Looks("18:10", 2).Looks("19:00", 3).Looks("20:00", 1, scale: "four cards").Flags("20:30");
        Assert.Equal("19:00-", raised.Stood(Slug));
        Assert.Equal(
            ("grade 1 on 'four cards': grades of two scales are not compared", "a look on the scale of before"),
            raised.Undecided(Slug)
        );
    }

    [Fact]
    public void New_clots_and_more_clots_raise_it_and_fewer_clear_it()
    {
        Assert.Equal(
            "19:00-20:00",
            Irrigated().Looks("18:10", clots: "none").Looks("19:00", clots: "few").Looks("20:00", clots: "none").Flags("20:30").Stood(Slug)
        );
        Assert.Equal("19:00-", Irrigated().Looks("18:10", clots: "few").Looks("19:00", clots: "many").Flags("19:30").Stood(Slug));
        Assert.Equal("", Irrigated().Looks("18:10", clots: "many").Looks("19:00", clots: "few").Flags("19:30").Stood(Slug));
        Assert.Equal("", Irrigated().Looks("18:10", clots: "none").Looks("19:00", clots: "none").Flags("19:30").Stood(Slug));
    }

    [Fact] // grade 1, light pink, is no bleeding, whether or not anybody set how many grades the scale has
    public void A_first_look_cannot_be_worse()
    {
        Assert.IsType<Finding.NotRaised>(Irrigated().Looks("18:10", 1, "light pink").Flags("18:10").Said(Slug));
        Assert.IsType<Finding.NotRaised>(Irrigated().Looks("18:10", 1, "light pink").Flags("18:10", limits: FiveGrades).Said(Slug));

        // A scale of two grades: of the palest nobody says that it is one of the two bloodiest.
        Assert.Null(Irrigated().Looks("18:10", 1).Flags("18:10", limits: Graded(2)).Priority(Slug));
        Assert.Equal(FlagPriority.High, Irrigated().Looks("18:10", 2).Flags("18:10", limits: Graded(2)).Priority(Slug));
    }

    [Fact]
    public void A_first_look_for_clots_cannot_be_worse_and_clots_are_told_as_what_they_are()
    {
        var first = Irrigated().Looks("18:10", 2).Looks("19:00", 2, clots: "few").Flags("19:30", limits: FiveGrades);
        Assert.Equal("", first.Stood(Slug));
        Assert.Equal("19:00-", first.Stood("clots-present"));

        // Bloodier at the first look for clots: worse by its grade.
        Assert.Equal("19:00-", Irrigated().Looks("18:10", 2).Looks("19:00", 3, clots: "few").Flags("19:30").Stood(Slug));
    }

    [Fact]
    public void Not_looked_for_is_not_none()
    {
        var record = Irrigated().Looks("18:10", clots: "none").Looks("19:00", clots: "few").Looks("20:00", colour: "pink").Flags("20:30");
        Assert.Equal("19:00-", record.Stood(Slug));
        Assert.Equal(("at 20:00 grade or clots were not charted", "a look at grade and clots"), record.Undecided(Slug));
        Assert.Equal("19:00-", record.Stood("clots-present"));
        Assert.Equal(("nobody charted what the drainage looks like", "a look at the drainage"), Irrigated().Flags("18:30").Undecided(Slug));
        Assert.Equal(
            ("nobody charted whether there are clots", "a look at the drainage"),
            Irrigated().Looks("18:10", 2).Flags("18:30").Undecided("clots-present")
        );
    }

    [Fact]
    public void Clots_are_there_until_a_look_finds_none()
    {
        var record = Irrigated().Looks("18:10", clots: "few").Looks("20:00", clots: "none").Looks("21:00", clots: "many").Flags("22:00");
        Assert.Equal("18:10-20:00, 21:00-", record.Stood("clots-present"));
        Assert.Equal("many clots at 21:00.", record.Says("clots-present"));
    }

    [Fact]
    public void A_paler_look_charted_late_retracts_it_and_another_makes_it_anew()
    {
        var ward = Irrigated().Looks("18:10", 2).Looks("19:00", 3);
        var before = ward.Flags("19:30");
        var (after, changes) = ward.Later(
            before,
            w => new Episodes.DrainageAppearance(
                w.Header("18:50", recordedAt: "19:30", id: "late"),
                "five grades",
                4,
                null,
                null,
                null,
                null,
                null,
                null
            )
        );
        Assert.Equal("18:50-19:00", after.Stood(Slug)); // 2, 4, 3: worse at 18:50, better since
        Assert.Contains(changes, change => change.Before?.Start == ward.At("19:00") && change.After is null);
    }
}
