using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>F5 to F8: urine-output criteria, anuria, low hourly output, oliguria, polyuria (clinical reference 2.1 and 2.2).</summary>
public class UrineOutputFlagTests
{
    private const string Stage = "urine-output-criterion";

    private static Ward Hours(int hours, decimal each, decimal? kilograms = 70)
    {
        var ward = Opens("00:00").UrineHourly("00:00", [.. Enumerable.Repeat(each, hours)]);
        return kilograms is { } weight ? ward.Weighs("00:00", weight) : ward;
    }

    [Theory]
    [InlineData(6, 34, "06:00-")] // 204 / 6 / 70 = 0.486
    [InlineData(5, 34, "")]
    [InlineData(6, 35, "")] // exactly 0.5 is not below it (clinical reference W23)
    public void Stage_1_is_below_half_a_mL_per_kg_and_hour_for_6_h(int hours, decimal each, string stood) =>
        Assert.Equal(stood, Hours(hours, each).Exactly("06:30").Stood(Stage));

    [Fact]
    public void The_highest_stage_is_named_in_one_flag_and_both_readings_in_its_text()
    {
        var at6 = Hours(12, 20).Exactly("06:00");
        Assert.Equal(
            "urine-output criterion stage 1 (KDIGO 2012) met by the mean: 0.29 mL/kg/h from 00:00 to 06:00. "
                + "The 95 % interval is 0.29 to 0.29 mL/kg/h. The probability is over 99 %. "
                + "The threshold is less than 0.5 mL/kg/h, by 70 kg (actual) of 00:00. By every hour it is met.",
            at6.Says(Stage)
        );
        var at12 = Hours(12, 20).Exactly("12:00");
        Assert.Equal("06:00-", at12.Stood(Stage));
        Assert.StartsWith("urine-output criterion stage 2 ", at12.Says(Stage), StringComparison.Ordinal);
        Assert.Equal(FlagPriority.High, at12.Priority(Stage));
    }

    [Fact]
    public void Met_by_the_mean_and_not_by_every_hour_is_said()
    {
        // 20 · 5 + 50 = 150 mL in 6 h of 70 kg: 0.357, and the last hour 0.714 (clinical reference 2.1).
        Assert.Contains(
            "By every hour it is not met.",
            Opens("00:00").UrineHourly("00:00", 20, 20, 20, 20, 20, 50).Weighs("00:00", 70).Exactly("06:00").Says(Stage),
            StringComparison.Ordinal
        );
    }

    [Fact]
    public void It_is_cleared_by_a_window_above_the_threshold() =>
        Assert.Equal(
            "06:00-07:00",
            Opens("00:00").UrineHourly("00:00", 34, 34, 34, 34, 34, 34, 80).Weighs("00:00", 70).Exactly("07:30").Stood(Stage)
        ); // 250 / 420 = 0.595

    [Theory]
    [InlineData(null, 70, "the age is not known, and adult thresholds are not for everybody", "a date of birth")]
    [InlineData("1950-05-01", null, "stage 1: cannot be said. No weight was charted", "a weight")]
    public void Without_age_or_weight_it_is_undecided(string? born, int? kilograms, string why, string needs)
    {
        var facts = Story.Aged(born is null ? null : NodaTime.Text.LocalDatePattern.Iso.Parse(born).Value);
        Assert.Equal((why, needs), Hours(6, 10, kilograms).Exactly("06:00", facts).Undecided(Stage));
    }

    [Fact]
    public void A_child_is_judged_by_pRIFLE_and_a_newborn_by_its_own()
    {
        Assert.Equal("08:00-", Hours(8, 9, 20).Exactly("08:30", Story.Child).Stood(Stage)); // 9 / 20 = 0.45 for 8 h
        Assert.Equal("", Hours(7, 9, 20).Exactly("08:30", Story.Child).Stood(Stage));
        var newborn = Hours(24, 3, 3.2m).Exactly("+1 00:00", Story.Aged(new(2026, 3, 1)));
        Assert.Equal(FlagPriority.High, newborn.Priority(Stage)); // 3 / 3.2 = 0.94, up to 1 (BMC Nephrol 2020)
    }

    [Fact]
    public void An_interval_that_covers_the_threshold_is_undecided()
    {
        var (why, needs) = Hours(6, 35).Flags("06:00").Undecided(Stage); // 210, best 204.9 of 210 mL: 0.60, and possible is from 0.7 on
        Assert.EndsWith("The interval covers the threshold", why);
        Assert.StartsWith("a more exact measurement", needs);
    }

    [Fact]
    public void Hours_that_nobody_measured_are_undecided_and_do_not_clear_it()
    {
        var (why, needs) = Hours(3, 34).Exactly("03:00").Undecided(Stage);
        Assert.Equal(("stage 1: cannot be said. Readings do not cover enough of the time", "readings that cover the window"), (why, needs));
        Assert.Equal("06:00-", Hours(6, 34).Exactly("22:00").Stood(Stage));
    }

    [Fact]
    public void Obstruction_goes_before_anuria_and_the_criteria()
    {
        var fresh = Opens("00:00")
            .Weighs("00:00", 70)
            .BagHung("00:00", 3000)
            .Flow("00:00", 600)
            .Level("00:00", 0)
            .Level("01:00", 0)
            .Exactly("01:30");
        Assert.Equal(FlagPriority.Urgent, fresh.Priority("no-drainage"));
        Assert.Equal(
            ("no drainage stands since 01:00: obstruction goes before anuria: what is held back may be urine", "no drainage to be cleared"),
            fresh.Undecided("anuria")
        );
        Assert.EndsWith("the output cannot be judged", fresh.Undecided(Stage).Why, StringComparison.Ordinal);
        Assert.EndsWith("the output cannot be judged", fresh.Undecided("low-hourly-output").Why, StringComparison.Ordinal);
        Assert.EndsWith("the output cannot be judged", fresh.Undecided("oliguria").Why, StringComparison.Ordinal);

        // What stood before the obstruction waits, and is not taken down for it.
        var anuric = Hours(12, 0).BagHung("13:00", 3000).Flow("13:00", 600).Level("13:00", 0).Level("14:00", 0).Exactly("14:30");
        Assert.Equal("14:00-", anuric.Stood("no-drainage"));
        Assert.Equal("12:00-", anuric.Stood("anuria"));
    }

    [Theory]
    [InlineData(50, "12:00-")] // up to 50 mL in 12 h: our judgement, for KDIGO gives no number (clinical reference 2.1)
    [InlineData(51, "")]
    public void Anuria_is_50_mL_or_less_in_12_h(decimal ml, string stood)
    {
        var ward = Opens("00:00").UrineHourly("00:00", [.. Enumerable.Repeat(0m, 11), ml]);
        Assert.Equal(stood, ward.Exactly("12:30").Stood("anuria"));
        Assert.Equal(("the age is not known", "a date of birth"), ward.Exactly("12:30", Story.OfUnknownAge).Undecided("anuria"));
        Assert.Equal("a weight", ward.Exactly("12:30", Story.Child).Undecided("anuria").Needs); // pRIFLE names it too, by the kilogram
        Assert.Equal(
            ("no criterion of anuria is for this age", "a clinician"),
            ward.Exactly("12:30", Story.Aged(new(2026, 3, 1))).Undecided("anuria")
        );
    }

    [Theory]
    [InlineData(17.5, "12:00-")] // 0.7 mL/kg
    [InlineData(17.6, "")]
    [InlineData(50, "")] // an adult's limit
    public void Anuria_of_a_child_goes_by_its_weight(decimal ml, string stood)
    {
        var ward = Opens("00:00").Weighs("00:00", 25).UrineHourly("00:00", [.. Enumerable.Repeat(0m, 11), ml]);
        Assert.Equal(stood, ward.Exactly("12:30", Story.Child).Stood("anuria"));
    }

    [Theory]
    [InlineData(29, 29, "02:00-")]
    [InlineData(29, 30, "")] // some texts say 30 mL and less (clinical reference 2.2)
    [InlineData(30, 29, "")]
    public void Low_hourly_output_is_under_30_mL_in_each_of_two_hours(decimal one, decimal other, string stood)
    {
        var ward = Opens("00:00").UrineHourly("00:00", one, other);
        Assert.Equal(stood, ward.Exactly("02:30").Stood("low-hourly-output"));
        Assert.Equal("a criterion for this age", ward.Exactly("02:30", Story.Child).Undecided("low-hourly-output").Needs);
        Assert.Equal("a date of birth", ward.Exactly("02:30", Story.OfUnknownAge).Undecided("low-hourly-output").Needs);
    }

    [Theory]
    [InlineData(399, "oliguria", true)] // under 400 mL (Klahr and Miller, from an encyclopaedia)
    [InlineData(400, "oliguria", false)]
    [InlineData(3000, "polyuria", false)] // over 3 L (Merck Manual Professional 2024)
    [InlineData(3001, "polyuria", true)]
    public void Too_little_and_too_much_in_24_elapsed_hours(decimal ml, string slug, bool stands)
    {
        var ward = Opens("00:00").UrineHourly("00:00", [.. Enumerable.Repeat(10m, 23), ml - 230]);
        Assert.Equal(stands ? FlagPriority.Low : null, ward.Exactly("+1 00:00").Priority(slug));
        Assert.Null(ward.Exactly("23:59").Priority(slug));
        Assert.Equal("a date of birth", ward.Exactly("+1 00:00", Story.OfUnknownAge).Undecided(slug).Needs);
    }
}
