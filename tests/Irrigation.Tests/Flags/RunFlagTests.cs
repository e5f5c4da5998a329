using Irrigation.Episodes;
using Irrigation.Flags;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>Orders by cycles, doses, what is met and borne: each told at once, and just beside it not.</summary>
public class RunFlagTests
{
    private static Ward Thrice(Func<OrderSet, OrderSet>? more = null) =>
        Ward.Opens("08:00")
            .Ordered(
                "08:00",
                order =>
                    (more ?? (o => o))(
                        order with
                        {
                            Method = "intermittent-manual",
                            TimesPerDay = 3,
                            Aliquot = Ml(30),
                            Solution = "sodium chloride 0.9 %",
                        }
                    )
            );

    private static Ward Given(Ward ward, string clock, decimal ml, Func<IrrigantInstilled, IrrigantInstilled> says) =>
        ward.Chart(says(new(ward.Header(clock, MeasuringWay.Syringe), "1", Ml(ml))));

    [Fact]
    public void Three_times_a_day_is_every_8_h_from_the_last()
    {
        var ward = Thrice().Syringe("08:30", 30).Back("08:33", 30);
        Assert.Equal("", ward.Flags("16:29").Stood("irrigation-due"));
        Assert.Equal(
            ("16:30-", FlagPriority.Low),
            (ward.Flags("16:30").Stood("irrigation-due"), ward.Flags("17:29").Priority("irrigation-due"))
        );
        Assert.Equal(FlagPriority.Medium, ward.Flags("17:30").Priority("irrigation-due"));
        Assert.Equal("16:30-17:40", ward.Syringe("17:40", 30).Flags("18:00").Stood("irrigation-due"));
    }

    [Fact]
    public void The_first_is_due_by_its_share_of_the_day_from_the_order() =>
        Assert.Equal(
            "due at 16:00: an irrigation, 3 times a day as ordered. None was given since the order of 08:00.",
            Thrice().Flags("16:00").Says("irrigation-due")
        );

    [Theory]
    [InlineData(1, "08:30", "")] // ordered for a day, and the next would be at its end
    [InlineData(2, "+1 00:10", "16:10-00:10")]
    public void After_the_days_of_the_order_none_is_due(int days, string again, string stood)
    {
        var ward = Thrice(order => order with { TimesPerDay = days == 1 ? 1 : 3, Days = days }).Syringe("08:10", 30);
        if (days == 2)
            ward.Syringe(again, 30);
        Assert.Equal(stood, ward.Flags(days == 1 ? "+2 12:00" : "+1 07:00").Stood("irrigation-due"));
    }

    [Fact]
    public void A_dose_that_is_overdue_names_the_drug() =>
        Assert.Contains(
            "a dose of amphotericin B",
            Thrice(order => order with { Method = "instillation-dwell", Additive = "amphotericin B" })
                .Flags("18:00")
                .Says("irrigation-due"),
            StringComparison.Ordinal
        );

    [Theory]
    [InlineData(30, null)]
    [InlineData(29, null)] // by 1 mL, and a syringe is off by 2 × 0.67
    [InlineData(28, "30 mL is ordered and only 28 mL was given at 08:10")]
    [InlineData(31, "30 mL is ordered and 31 mL was given at 08:10")]
    public void Another_aliquot_than_ordered(decimal ml, string? differs) =>
        Differs(Thrice().Checks("08:01").Syringe("08:10", ml).Flags("08:10"), differs);

    [Fact]
    public void Another_solution_or_additive_or_one_that_expired()
    {
        var expired = Evening.PlusDays(-1);
        Differs(
            Given(Thrice(), "08:10", 30, given => given with { Solution = "sterile water" }).Flags("08:10"),
            "sodium chloride 0.9 % is ordered and sterile water was given at 08:10"
        );
        Differs(
            Given(Thrice(), "08:10", 30, given => given with { Additive = "acetic acid" }).Flags("08:10"),
            "no additive is ordered and acetic acid was given at 08:10"
        );
        Differs(
            Given(Thrice(), "08:10", 30, given => given with { Expiry = expired }).Flags("08:10"),
            "what was given at 08:10 had expired"
        );
        Differs(Given(Thrice(), "08:10", 30, given => given with { Expiry = Evening }).Flags("08:10"), null); // to the end of its day
    }

    [Fact]
    public void More_cycles_than_ordered_at_once_and_fewer_once_it_is_over()
    {
        var two = Thrice(order => order with { Cycles = 2 }).Syringe("08:10", 30).Back("08:12", 30);
        Differs(two.Flags("08:41"), null);
        Differs(two.Flags("08:42"), "2 cycles are ordered and 1 given from 08:10, and nobody said why");
        var three = two.Syringe("08:14", 30).Back("08:16", 30).Syringe("08:18", 30);
        Differs(three.Flags("08:18"), "2 cycles are ordered and 3 were given from 08:10");
    }

    [Fact]
    public void Fewer_cycles_with_a_reason_are_no_difference()
    {
        var ward = Thrice(order => order with { Cycles = 2 }).Syringe("08:10", 30).Back("08:12", 30);
        Differs(ward.Chart(new IrrigationStopped(ward.Header("08:13"), StopReason.Declined)).Flags("08:50"), null);
    }

    [Fact]
    public void Until_clear_and_it_is_not() =>
        Assert.Contains(
            "cycles until clear are ordered",
            Thrice(order => order with { UntilClear = true })
                .Syringe("08:10", 30)
                .Back("08:12", 30)
                .Looks("08:13", colour: "red", clots: "few")
                .Flags("08:45")
                .Says("order-mismatch"),
            StringComparison.Ordinal
        );

    [Theory]
    [InlineData("08:37", "a dwell of 30 min is ordered and cycle 1 stayed 24 min")]
    [InlineData("08:38", null)]
    public void A_dwell_shorter_than_ordered(string released, string? differs)
    {
        var ward = Thrice(order => order with { Method = "instillation-dwell", Dwell = Duration.FromMinutes(30) });
        Differs(ward.Syringe("08:13", 30).Clamp("08:13").Release(released).Flags("08:40"), differs);
    }

    [Fact]
    public void An_order_that_is_over_is_no_order_to_irrigate_by() =>
        Assert.Contains(
            "the order expired at 14 Mar 08:00 and 30 mL was given",
            Thrice(order => order with { Days = 1 })
                .Syringe("+1 09:00", 30)
                .Flags("+1 09:00")
                .Says("order-mismatch")
                .Replace("15 Mar", "14 Mar", StringComparison.Ordinal)
                .Replace("expired at 08:00", "expired at 14 Mar 08:00", StringComparison.Ordinal),
            StringComparison.Ordinal
        );

    [Fact]
    public void Resistance_is_answered_at_once_and_cleared_by_a_free_aliquot()
    {
        var ward = Given(Ward.Opens("08:00"), "08:10", 20, given => given with { Resistance = true, Intended = Ml(30) });
        var flags = ward.Flags("08:10");
        Assert.Equal(FlagPriority.High, flags.Priority("irrigation-impeded"));
        Assert.Equal("resistance was met at 08:10: 20 mL of 30 mL given.", flags.Says("irrigation-impeded"));
        Assert.Equal("08:10-08:20", ward.Syringe("08:20", 30).Flags("08:20").Stood("irrigation-impeded"));
    }

    [Fact]
    public void An_aliquot_not_given_in_full_is_said() =>
        Assert.Equal(
            FlagPriority.Medium,
            Given(Ward.Opens("08:00"), "08:10", 20, given => given with { Intended = Ml(30) }).Flags("08:10").Priority("irrigation-impeded")
        );

    [Theory]
    [InlineData(StopReason.Bleeding, FlagPriority.High)]
    [InlineData(StopReason.Declined, FlagPriority.Medium)]
    [InlineData(StopReason.TargetReached, null)]
    [InlineData(StopReason.CyclesDone, null)]
    public void An_irrigation_that_was_stopped_says_why(StopReason why, FlagPriority? priority)
    {
        var ward = Ward.Opens("08:00").Syringe("08:10", 30).Back("08:12", 30);
        Assert.Equal(priority, ward.Chart(new IrrigationStopped(ward.Header("08:13"), why)).Flags("08:13").Priority("irrigation-impeded"));
    }

    [Theory]
    [InlineData(6, true, false, FlagPriority.High)] // the run that raised nothing
    [InlineData(4, false, true, FlagPriority.Medium)]
    [InlineData(3, false, true, null)]
    [InlineData(7, false, null, FlagPriority.High)]
    [InlineData(0, true, true, FlagPriority.Low)]
    [InlineData(null, null, false, FlagPriority.Medium)]
    public void Pain_spasm_and_an_irrigation_that_is_not_tolerated(int? pain, bool? spasm, bool? tolerated, FlagPriority? priority)
    {
        var ward = Ward.Opens("08:00").Syringe("08:10", 30);
        var flags = ward.Chart(new ToleranceNoted(ward.Header("08:11"), pain, spasm, tolerated)).Flags("08:12");
        Assert.Equal(priority, flags.Priority("poorly-tolerated"));
        Assert.Equal("", ward.Bears("08:30").Flags("08:30").Stood("poorly-tolerated").Replace("08:11-08:30", "", StringComparison.Ordinal));
    }

    [Theory]
    [InlineData("08:20", "08:40", true)] // there from 08:20 to 08:40, released at 09:00
    [InlineData("08:20", "08:30", false)] // gone at 08:30: half an hour alone
    [InlineData("08:41", "09:00", false)] // came after 31 min
    public void Presence_in_a_dwell_lasts_as_long_as_somebody_was_there(string came, string went, bool attended)
    {
        var ward = Ward.Opens("08:00").Syringe("08:09", 50).Clamp("08:10");
        ward.Chart(new PatientAttended(ward.Header(went, from: came))).Release("09:00").Back("09:05", 60);
        Assert.Equal(!attended, Missing(ward.Flags("10:00"), "presence during the dwell"));
    }

    [Fact]
    public void A_dwell_of_50_min_that_nobody_attended_is_not_presence_recorded_once_it_is_over() =>
        Assert.True(
            Missing(Ward.Opens("08:00").Syringe("08:09", 50).Clamp("08:10").Release("09:00").Flags("10:00"), "presence during the dwell")
        );

    [Fact]
    public void The_record_of_an_open_irrigation_names_what_is_missing_and_is_complete_when_it_is_there()
    {
        var ward = Ward.Opens("08:00").Feels("08:05", false);
        ward.Chart(new ClosedSystemOpened(ward.Header("08:08"), "blocked catheter"));
        ward.Syringe("08:10", 30).Back("08:13", 35);
        Assert.Equal(
            [
                "who irrigated",
                "port cleaned",
                "sterile cap kept",
                "solution",
                "return: colour",
                "return: clots",
                "return: sediment",
                "tolerance",
                "bladder felt or scanned after",
                "what came of it",
            ],
            OfRun(ward)
        );
        ward.Chart(new StepsAttested(ward.Header("08:09"), StepsAttested.PortCleaned, StepsAttested.CapKeptSterile));
        ward.Chart(new DrainageAppearance(ward.Header("08:14"), null, null, "pink", "clear", "none", false, false, false));
        ward.Bears("08:15").Feels("08:16", false);
        ward.Ordered("08:00", order => order with { Method = "open", Solution = "sodium chloride 0.9 %" });
        Assert.Equal(["who irrigated"], OfRun(ward)); // not kept sterile is attested too
    }

    private static List<string> OfRun(Ward ward)
    {
        var bedside = ward.Flags("09:00").Now;
        return
        [
            .. RunRecord
                .Of(bedside, Irrigation.Runs.RunsOfCycles.Latest(bedside.Balance, bedside.At)!)
                .Where(item => !item.IsRecorded)
                .Select(item => item.Name),
        ];
    }

    private static bool Missing(FlagRecord flags, string item) => CompleteRecord.Of(flags.Now).Any(i => i.Name == item && !i.IsRecorded);

    private static void Differs(FlagRecord flags, string? differs)
    {
        if (differs is null)
            Assert.Null(flags.Priority("order-mismatch"));
        else
            Assert.Contains(differs, flags.Says("order-mismatch"), StringComparison.Ordinal);
    }
}
