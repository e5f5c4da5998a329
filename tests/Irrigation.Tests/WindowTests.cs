using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>Hours, shifts, days and trailing windows: what falls into one, how firm it is, and what it says of itself.</summary>
public class WindowTests
{
    [Fact]
    public void The_simple_number_of_a_window_is_what_was_charted_in_it()
    {
        // A reading at the first instant tells of the time before, one at the last of the window.
        var ward = Opens("08:00")
            .Instilled("09:00", 400, from: "08:00")
            .Emptied("09:00", 470)
            .Instilled("10:00", 300, from: "09:00")
            .Emptied("10:00", 380);
        ward.Urine("10:00", 25, UrineRoute.LeftNephrostomy).Urine("09:00", 15, UrineRoute.LeftNephrostomy);
        var hour = ward.Hour("09:00");
        Assert.Equal((Ml(405), Ml(300), Ml(105)), (hour.DrainageCharted, hour.IrrigantCharted, hour.Simple)); // 380 + 25 − 300
        Assert.Equal(Ml(890), ward.Window("08:00", "10:00").DrainageCharted); // 470 + 15 + 380 + 25
    }

    [Fact]
    public void A_reading_that_nobody_can_resolve_leaves_the_simple_number_unknown()
    {
        var fell = Opens("08:00").Flow("08:00", 0).Level("08:00", 0).Level("09:00", 900).Level("10:00", 200);
        Assert.Null(fell.Window("08:00", "10:00").DrainageCharted);
        Assert.Equal((Ml(900), Ml(900)), (fell.Hour("08:00").DrainageCharted, fell.Hour("08:00").Simple));
    }

    [Fact]
    public void What_was_charted_before_the_start_is_in_no_simple_number_either()
    {
        var ward = Opens("07:00")
            .Instilled("06:40", 250, from: "06:30")
            .Urine("06:45", 300)
            .Urine("06:50", 20, UrineRoute.LeftNephrostomy)
            .Flow("07:00", 0)
            .Emptied("08:00", 60);
        var window = ward.Window("06:00", "08:00");
        Assert.Equal((Ml(60), Ml(0), Ml(60)), (window.DrainageCharted, window.IrrigantCharted, window.Simple));
        Assert.Equal((Ml(60), OutputStatus.Final, Duration.FromHours(1)), (window.Output!.Headline, window.Status, window.Covered));

        var before = ward.Window("05:00", "06:30");
        Assert.Equal(
            (null, AbsentReason.NotCovered, Ml(0), Ml(0)),
            (before.Output, before.Absent!.Value, before.DrainageCharted, before.IrrigantCharted)
        );
    }

    [Fact]
    public void Where_only_a_route_is_read_its_readings_cover_the_time()
    {
        var ward = Opens("08:00").Urine("10:00", 60, UrineRoute.LeftNephrostomy);
        var window = ward.Window("08:00", "10:00");
        Assert.Equal((Ml(60), Duration.FromHours(2), OutputStatus.Final), (window.Output!.Headline, window.Covered, window.Status));
        Assert.True(window.FullyCovered);
        Assert.False(ward.Window("08:00", "11:00").FullyCovered);
    }

    [Fact]
    public void Two_routes_cover_a_time_once()
    {
        var ward = Opens("08:00")
            .Urine("12:00", 100, UrineRoute.LeftNephrostomy)
            .Urine("10:00", 60, UrineRoute.RightNephrostomy)
            .Urine("13:00", 90, UrineRoute.RightNephrostomy);
        Assert.Equal(Duration.FromHours(4), ward.Window("08:00", "12:00").Covered);
        Assert.Equal(Duration.FromHours(5), ward.Window("08:00", "14:00").Covered);
        Assert.Equal(Duration.FromHours(2), ward.Window("09:00", "11:00").Covered);
    }

    [Fact]
    public void A_route_read_over_a_longer_time_covers_no_more_than_the_bladder()
    {
        var ward = Opens("08:00").Urine("10:00", 100).Urine("12:00", 80, UrineRoute.LeftNephrostomy);
        var window = ward.Window("08:00", "12:00");
        // 100 and half of the 80: the two hours that the bladder's reading covers.
        Assert.Equal((Ml(140), Duration.FromHours(2)), (window.Output!.Headline, window.Covered));
        Assert.Equal(
            [(ward.At("08:00"), ward.At("10:00"), Ml(100)), (ward.At("08:00"), ward.At("10:00"), Ml(40))],
            window.Shares.Select(s => (s.From, s.To, s.Amount!.Value))
        );
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)]
    public void The_shares_of_a_window_add_up_to_its_headline_whichever_that_is(bool best)
    {
        // Half of the 100 mL and a quarter of the 200. A meter reads high: of 100 mL 2.44 are to be taken out.
        var ward = Opens("08:00").Urine("09:00", 100).Urine("11:00", 200);
        var window = FluidBalance
            .Of(ward.Balance().Log, BalanceSettings.Default with { BestEstimateIsHeadline = best })
            .Over(WindowKind.Trailing, new(ward.At("08:30"), ward.At("09:30")));
        Assert.Equal(
            [(ward.At("08:30"), ward.At("09:00"), Ml(best ? 48.78m : 50)), (ward.At("09:00"), ward.At("09:30"), Ml(best ? 48.78m : 50))],
            window.Shares.Select(s => (s.From, s.To, s.Amount!.Value))
        );
        Assert.Equal(Ml(best ? 97.56m : 100), window.Output!.Headline);
    }

    [Fact]
    public void A_window_is_final_when_all_of_the_episode_in_it_is_covered()
    {
        var ended = Opens("08:20").Urine("09:00", 30).Urine("10:00", 40).Urine("10:40", 25).Ends("10:40");
        Assert.Equal(
            [OutputStatus.Final, OutputStatus.Final, OutputStatus.Final],
            new[] { "08:00", "09:00", "10:00" }.Select(hour => ended.Hour(hour).Status)
        );
        Assert.Equal(OutputStatus.Preliminary, Opens("08:20").Urine("10:40", 25).Ends("10:50").Hour("10:00").Status);
        Assert.Equal(OutputStatus.Preliminary, Opens("08:20").Urine("10:40", 25).Hour("10:00").Status);
    }

    [Theory]
    [InlineData("07:00", false)] // just as long ago as the longest gap: nobody is collecting from it any more
    [InlineData("07:01", true)]
    [InlineData("12:59", true)]
    [InlineData("13:00", false)] // read at the window's very end
    public void A_route_that_was_being_collected_keeps_a_window_preliminary_until_it_is_read_again(string readAt, bool awaited)
    {
        var ward = Opens("06:30").Urine(readAt, 40, UrineRoute.IlealConduit).Urine("12:00", 200).Urine("13:00", 35);
        var hour = ward.Hour("12:00");
        Assert.Equal(
            (awaited ? OutputStatus.Preliminary : OutputStatus.Final, awaited),
            (hour.Status, hour.Caveats.Contains(Caveat.OtherRouteNotRead))
        );
    }

    [Fact]
    public void The_bladder_itself_is_not_a_route_to_wait_for()
    {
        var ward = Opens("08:00").Urine("10:00", 100).Urine("10:00", 20, UrineRoute.LeftNephrostomy);
        Assert.DoesNotContain(Caveat.OtherRouteNotRead, ward.Window("08:00", "10:00").Caveats);
        Assert.Equal(OutputStatus.Final, ward.Window("08:00", "10:00").Status);
    }

    [Theory]
    [InlineData("08:00", "10:00", false)]
    [InlineData("08:00", "12:00", false)]
    [InlineData("08:30", "12:00", true)]
    [InlineData("08:00", "11:00", true)]
    [InlineData("08:00", "13:00", false)] // an hour of it is open, and nothing is cut
    public void A_window_that_cuts_a_closed_interval_says_that_it_holds_a_share(string from, string to, bool share)
    {
        var window = Opens("08:00").Urine("10:00", 100).Urine("12:00", 60).Window(from, to);
        Assert.Equal(share, window.Caveats.Contains(Caveat.Apportioned));
    }

    [Fact]
    public void What_has_no_output_has_no_share_of_one()
    {
        var hour = Opens("22:00").BagHung("22:00", 3000).Emptied("+1 00:00", 2060).Hour("22:00");
        Assert.Equal((null, AbsentReason.IrrigantNotReadYet), (hour.Output, hour.Absent!.Value));
        Assert.DoesNotContain(Caveat.Apportioned, hour.Caveats);
        Assert.Null(hour.Shares.Single().Amount);
    }

    [Fact]
    public void A_part_is_not_a_total()
    {
        // The first hour is known, the second not: their sum is not known either.
        var window = Opens("22:00").Urine("23:00", 60).BagHung("23:00", 3000).Emptied("+1 00:00", 1060).Window("22:00", "+1 00:00");
        Assert.Equal((null, AbsentReason.IrrigantNotReadYet, Duration.FromHours(1)), (window.Output, window.Absent!.Value, window.Covered));
    }

    [Fact]
    public void The_sign_of_a_window_is_its_own()
    {
        var ward = Opens("08:00").Flow("08:00", 100).Emptied("09:00", 40).Emptied("10:00", 160).Urine("10:00", 0);
        Assert.Contains(Caveat.NegativeOutput, ward.Hour("08:00").Caveats); // 40 − 100
        Assert.DoesNotContain(Caveat.NegativeOutput, ward.Window("08:00", "10:00").Caveats); // −60 + 60: nothing is not less than nothing
        Assert.Equal(Ml(0), ward.Window("08:00", "10:00").Output!.Headline);
    }

    [Fact]
    public void The_irrigant_of_a_window_is_that_of_the_time_it_covers()
    {
        var ward = Opens("08:00").Flow("08:00", 100).Emptied("10:00", 260);
        Assert.Equal(
            [Ml(200), Ml(100), Ml(0)],
            new[] { ward.Window("08:00", "10:00"), ward.Window("09:00", "12:00"), ward.Window("11:00", "12:00") }.Select(w =>
                w.Instilled!.Value
            )
        );
        Assert.Equal(Ml(300), ward.Window("09:00", "12:00").IrrigantCharted); // what is charted of an open hour is charted all the same
        Assert.Equal(Ml(200), ward.Window("07:00", "10:00").Instilled);
    }

    [Fact]
    public void One_interval_that_rests_on_a_correction_makes_the_window_corrected()
    {
        var ward = Opens("08:00").Urine("10:00", 100).Urine("12:00", 60).Urine("13:00", 30);
        ward.Chart(new UrineCollected(ward.Header("12:00", id: "e2"), UrineRoute.UrethralCatheter, Ml(65)));
        Assert.Equal(
            [OutputStatus.Final, OutputStatus.Corrected, OutputStatus.Corrected],
            new[] { ("08:00", "10:00"), ("10:00", "12:00"), ("08:00", "13:00") }.Select(w => ward.Window(w.Item1, w.Item2).Status)
        );
    }

    [Fact]
    public void One_interval_that_was_complete_before_makes_the_window_amended()
    {
        var ward = Opens("08:00")
            .Urine("09:00", 50, recordedAt: "09:05")
            .Urine("11:00", 70, recordedAt: "11:05")
            .Urine("10:00", 30, recordedAt: "12:00");
        Assert.Equal(
            [OutputStatus.Final, OutputStatus.Amended, OutputStatus.Amended],
            new[] { ("08:00", "09:00"), ("10:00", "11:00"), ("08:00", "11:00") }.Select(w => ward.Window(w.Item1, w.Item2).Status)
        );
    }

    [Fact]
    public void One_interval_that_is_still_open_makes_the_window_preliminary()
    {
        var ward = Opens("21:00").Urine("22:00", 50).BagHung("22:00", 3000).Flow("22:00", 1000).Emptied("23:00", 1060);
        Assert.Equal(
            [OutputStatus.Final, OutputStatus.Preliminary, OutputStatus.Preliminary],
            new[] { ("21:00", "22:00"), ("22:00", "23:00"), ("21:00", "23:00") }.Select(w => ward.Window(w.Item1, w.Item2).Status)
        );
    }

    [Fact]
    public void A_changed_interval_reaches_the_windows_of_its_own_time()
    {
        var ward = Opens("08:00").Urine("10:00", 100).Urine("12:00", 60).Urine("12:00", 20, UrineRoute.LeftNephrostomy);
        var balance = ward.Balance();
        var (early, late, route) = (
            balance[FluidBalance.Bladder][0],
            balance[FluidBalance.Bladder][1],
            balance[Slug.Of(UrineRoute.LeftNephrostomy)][0]
        );
        Assert.Equal(new Interval(ward.At("08:00"), ward.At("10:00")), balance.Touched(new(null, early, [])));
        Assert.Equal(new Interval(ward.At("10:00"), ward.At("12:00")), balance.Touched(new(late, null, [])));
        // What was one interval until a reading came between: all of the time that it had.
        Assert.Equal(new Interval(ward.At("08:00"), ward.At("12:00")), balance.Touched(new(late with { Start = early.Start }, late, [])));
        Assert.Equal(new Interval(ward.At("08:00"), ward.At("12:00")), balance.Touched(new(late, late with { Start = early.Start }, [])));
        // A route keeps windows after it waiting, up to the longest gap of 6 h.
        Assert.Equal(new Interval(route.Start, ward.At("18:00")), balance.Touched(new(null, route, [])));
    }

    [Fact]
    public void Of_an_interval_over_months_only_the_last_31_days_reach_windows()
    {
        var ward = Opens("08:00").Urine("09:00", 100);
        var interval = ward.Interval("09:00");
        var mistyped = interval with { Start = interval.End - Duration.FromDays(400) };
        Assert.Equal(new Interval(interval.End - Duration.FromDays(31), interval.End), ward.Balance().Touched(new(null, mistyped, [])));
    }

    [Fact]
    public void Hours_and_days_end_where_the_time_asked_for_does()
    {
        var ward = Opens("00:00");
        IEnumerable<(Instant, Instant)> Named(WindowKind kind, string from, string to) =>
            Calendar.Windows(kind, ward.Frame, ward.At(from), ward.At(to)).Select(w => (w.Start, w.End));
        Assert.Equal(
            [(ward.At("08:00"), ward.At("09:00")), (ward.At("09:00"), ward.At("10:00"))],
            Named(WindowKind.ClockHour, "08:00", "10:00")
        );
        Assert.Equal(
            [(ward.At("08:00"), ward.At("09:00")), (ward.At("09:00"), ward.At("10:00"))],
            Named(WindowKind.ClockHour, "08:59", "09:01")
        );
        Assert.Equal([(ward.At("00:00"), ward.At("+1 00:00"))], Named(WindowKind.LocalDay, "00:00", "+1 00:00"));
        Assert.Equal([(ward.At("07:00"), ward.At("15:00"))], Named(WindowKind.Shift, "07:00", "15:00"));
        Assert.Equal(
            [(ward.At("07:00"), ward.At("15:00")), (ward.At("15:00"), ward.At("23:00"))],
            Named(WindowKind.Shift, "14:59", "15:01")
        );
    }

    [Fact]
    public void A_facility_without_shifts_has_no_windows_of_them()
    {
        var ward = Opens("08:00");
        Assert.Empty(Calendar.Windows(WindowKind.Shift, ward.Frame with { ShiftStarts = [] }, ward.At("08:00"), ward.At("10:00")));
    }

    [Theory]
    [InlineData(WindowKind.ClosedInterval)]
    [InlineData(WindowKind.Trailing)]
    public void Closed_intervals_and_trailing_windows_are_in_no_calendar(WindowKind kind)
    {
        var ward = Opens("08:00");
        Assert.Throws<ArgumentOutOfRangeException>(() => Calendar.Windows(kind, ward.Frame, ward.At("08:00"), ward.At("10:00")));
    }

    [Fact] // a calendar fact: on Lord Howe Island clocks go back half an hour at 02:00 on 5 April 2026, and forward at 02:00 on 4 October
    public void Where_clocks_change_by_half_an_hour_an_hour_is_cut_in_two()
    {
        var island = DateTimeZoneProviders.Tzdb["Australia/Lord_Howe"];
        IEnumerable<(double, LocalTime)> Hours(int month, int day, int from, int to)
        {
            var (start, end) = (
                island.AtLeniently(new LocalDateTime(2026, month, day, from, 0)).ToInstant(),
                island.AtLeniently(new LocalDateTime(2026, month, day, to, 0)).ToInstant()
            );
            return Calendar
                .Windows(WindowKind.ClockHour, new(start, null, island, []), start, end)
                .Select(w => (w.Duration.TotalMinutes, w.Start.InZone(island).TimeOfDay));
        }

        Assert.Equal([(60, new(0, 0)), (60, new(1, 0)), (30, new(1, 30)), (60, new(2, 0))], Hours(4, 5, 0, 3));
        Assert.Equal([(60, new(1, 0)), (30, new(2, 30)), (60, new(3, 0))], Hours(10, 4, 1, 4));
    }
}
