using Irrigation.Balance;
using Irrigation.Measures;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// Forecasts, drops and weights against the vectors of the clinical reference (1.7, 1.9, 1.10, 1.11: own arithmetic, standard densities).
/// </summary>
public class ForecastTests
{
    [Fact] // clinical reference 1.9
    public void A_bag_of_3000_mL_at_500_mL_an_hour_lasts_six_hours()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500);
        var forecast = Forecasts.BagEmpty(ward.Balance(), "1", ward.At("08:00"));
        Assert.Equal((Duration.FromHours(6), ward.At("14:00")), (forecast.In!.Value, forecast.At!.Value));

        var later = Forecasts.BagEmpty(ward.Balance(), "1", ward.At("10:00"));
        Assert.Equal((Duration.FromHours(4), ward.At("14:00")), (later.In!.Value, later.At!.Value));
    }

    [Theory] // clinical reference 1.9: 1333.3 / 560 and 2666.7 / 560
    [InlineData(2, 2.38)]
    [InlineData(4, 4.76)]
    public void A_drainage_bag_is_two_thirds_full(int litres, double hours)
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500).Emptied("08:00", 0);
        var forecast = Forecasts.ContainerFull(ward.Balance(), "1", Volume.FromLitres(litres), 2m / 3, Urine(60), ward.At("08:00"));
        Assert.Equal(hours, Math.Round(forecast.In!.Value.TotalHours, 2));
    }

    [Fact]
    public void A_drainage_bag_fills_on_from_its_last_reading()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500).Level("09:00", 560);
        // 560 at 09:00 and 280 more by 09:30; 560 mL of room left to 1400 at 560 mL/h.
        var forecast = Forecasts.ContainerFull(ward.Balance(), "1", Ml(2000), 0.7m, Urine(60), ward.At("09:30"));
        Assert.Equal(ward.At("10:30"), forecast.At);
    }

    [Theory] // clinical reference 1.10
    [InlineData(300, 500, 83)]
    [InlineData(100, 500, 188)]
    [InlineData(300, 200, 33)]
    public void The_bladder_reaches_a_limit_when_the_outflow_stops(int flow, int limit, int minutes)
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", flow);
        var forecast = Forecasts.DistensionLimit(ward.Balance(), (Ml(limit), "a limit"), Urine(60), ward.At("08:00"));
        Assert.Equal(minutes, Math.Round(forecast.In!.Value.TotalMinutes));
    }

    [Fact] // clinical reference 1.10: wide open, 1.6 mL/s
    public void Wide_open_500_mL_take_five_minutes() =>
        Assert.Equal(5.2, Math.Round(Forecasts.TimeFor(Ml(500), FlowRate.FromMillilitresPerHour(1.6m * 3600))!.Value.TotalMinutes, 1));

    [Fact]
    public void So_little_that_it_takes_years_is_as_good_as_nothing() =>
        Assert.Null(Forecasts.TimeFor(Ml(500), FlowRate.FromMillilitresPerHour(0.000_000_1m)));

    [Fact]
    public void What_has_come_already_takes_no_time_even_where_nothing_runs()
    {
        Assert.Equal([Duration.Zero, Duration.Zero, null], new[] { -1m, 0, 1 }.Select(ml => Forecasts.TimeFor(Ml(ml), FlowRate.Stopped)));
        Assert.Equal(Duration.FromDays(365), Forecasts.TimeFor(Ml(365 * 24), FlowRate.FromMillilitresPerHour(1))); // a year is still told
        Assert.Null(Forecasts.TimeFor(Ml((365 * 24) + 1), FlowRate.FromMillilitresPerHour(1)));
    }

    [Fact]
    public void Each_forecast_says_what_it_rests_on()
    {
        // 250 mL an hour from 3000: 2625 left at half past nine. The drainage held 280 at nine, and 125 + 30 since make 435 of 1400.
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 250).Level("08:00", 0).Level("09:00", 280);
        Assert.Equal(
            "2,630 mL left at 250 mL/h, by the label and the charted flow. An overfilled bag lasts longer",
            Forecasts.BagEmpty(ward.Balance(), "1", ward.At("09:30")).Assumption
        );
        Assert.Equal(
            "435 mL in it now (280 mL at 09:00), to 1,400 mL of 2,000 mL. It fills at 310 mL/h. Irrigant 250 mL/h, as given. "
                + "Taken for granted: nothing leaks and nothing stays behind",
            Forecasts.ContainerFull(ward.Balance(), "1", Ml(2000), 0.7m, Urine(60), ward.At("09:30")).Assumption
        );
        var distension = Forecasts.DistensionLimit(ward.Balance(), (Ml(500), "a limit"), Urine(60), ward.At("09:30"));
        Assert.Equal(
            (
                "distension-limit",
                "bladder",
                "from 0 mL to 500 mL. Taken as empty, for the drain is open and no scan says otherwise. "
                    + "500 mL is a limit. It fills at 310 mL/h: irrigant 250 mL/h, as given"
            ),
            (distension.Kind, distension.What, distension.Assumption)
        );

        ward.Flow("09:30", 0);
        Assert.Equal(
            (null, "nothing runs"),
            Told(Forecasts.ContainerFull(ward.Balance(), "1", Ml(2000), 0.7m, Urine(0), ward.At("09:30")))
        );
    }

    [Fact]
    public void What_ran_in_since_and_is_not_known_cannot_be_told()
    {
        var ward = Opens("08:00")
            .Level("08:00", 0)
            .BagHung("08:00", 3000)
            .BagTakenDown("09:00", null)
            .BagHung("09:00", 3000)
            .Flow("09:00", 250);
        Assert.Equal(
            (null, "what ran in since 08:00 is not known"),
            Told(Forecasts.ContainerFull(ward.Balance(), "1", Ml(2000), 0.7m, Urine(60), ward.At("09:30")))
        );
        ward.Clamp("08:30");
        Assert.Equal(
            (null, "what ran in since the clamp is not known"),
            Told(Forecasts.DistensionLimit(ward.Balance(), (Ml(500), "a limit"), Urine(60), ward.At("09:30")))
        );
    }

    [Fact]
    public void Behind_a_clamp_a_scan_after_it_is_where_the_filling_starts()
    {
        var ward = Opens("08:00").Syringe("08:00", 60).Clamp("08:00").Scan("08:30", 100);
        Assert.StartsWith(
            "from 130 mL to 500 mL. The drain is clamped since 08:00: scan of 100 mL at 08:30, 0 mL instilled and 30 mL urine since.",
            ward.Forecast("09:00")[^1].Assumption,
            StringComparison.Ordinal
        );
        Assert.StartsWith(
            "from 100 mL to 500 mL. The drain is clamped since 08:00. ",
            ward.Forecast("08:30")[^1].Assumption,
            StringComparison.Ordinal
        );
        Assert.StartsWith(
            "from 0 mL to 500 mL. The drain is clamped since 08:00. ",
            Opens("08:00").Clamp("08:00").Forecast("08:00")[^1].Assumption,
            StringComparison.Ordinal
        );
    }

    [Fact]
    public void A_scan_at_the_moment_of_clamping_is_of_the_clamped_bladder() =>
        Assert.StartsWith(
            "from 130 mL to 500 mL. The drain is clamped since 08:00: scan of 100 mL at 08:00, ",
            Opens("08:00").Clamp("08:00").Scan("08:00", 100).Forecast("08:30")[^1].Assumption,
            StringComparison.Ordinal
        );

    [Theory]
    [InlineData("08:45", "from 320 mL to 500 mL. By the scan at 08:45")]
    [InlineData("08:44", "from 0 mL to 500 mL. Taken as empty")]
    public void A_scan_counts_with_the_reading_that_it_is_near(string scanned, string told) =>
        Assert.StartsWith(
            told,
            Opens("08:00").Flow("08:00", 0).Scan(scanned, 320).Emptied("09:00", 100).Forecast("09:05")[^1].Assumption,
            StringComparison.Ordinal
        );

    [Theory]
    [InlineData("14:30", 2)]
    [InlineData("14:31", 1)]
    public void A_container_that_nobody_read_for_longer_than_a_gap_is_not_in_use(string clock, int containers)
    {
        var ward = Opens("08:00").Flow("08:00", 100).Level("08:30", 200, container: "old").Level("09:00", 100);
        Assert.Equal(containers, ward.Forecast(clock).Count(f => f.Kind == "container-full"));
    }

    [Fact]
    public void A_container_that_was_weighed_and_emptied_is_not_in_use_beside_another()
    {
        Ward Weighed(bool emptied) =>
            Opens("08:00").Flow("08:00", 100).Weighed("08:30", 200, emptied: emptied).Level("09:00", 100, container: "new");
        Assert.Equal(["new"], Weighed(true).Forecast("09:30").Where(f => f.Kind == "container-full").Select(f => f.What));
        Assert.Equal(["1", "new"], Weighed(false).Forecast("09:30").Where(f => f.Kind == "container-full").Select(f => f.What));
    }

    [Fact]
    public void Every_line_that_runs_unknown_is_named() =>
        Assert.Equal(
            "irrigation runs and no flow is charted for line 1, 2",
            Opens("08:00").BagHung("08:00", 3000).BagHung("08:00", 3000, line: "2").Forecast("09:00")[^1].Assumption
        );

    [Fact]
    public void No_urine_in_the_latest_interval_is_a_measured_nothing() =>
        Assert.Equal(
            "urine 0 mL/h, the best estimate of 08:00 to 09:00",
            Forecasts.Urine(Opens("08:00").Urine("09:00", 0).Balance(Exact), Opens("08:00").At("09:00"), ForecastSettings.Default).Whence
        );

    [Fact]
    public void An_output_without_a_best_estimate_forecasts_nothing()
    {
        var ward = Opens("08:00").Emptied("09:00", 300);
        Assert.Equal(
            "urine 60 mL/h, assumed: 08:00 to 09:00 has no best estimate",
            Forecasts.Urine(ward.Balance(), ward.At("09:00"), ForecastSettings.Default).Whence
        );
    }

    [Fact]
    public void What_cannot_be_told_says_why()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000);
        Assert.Equal((null, "no flow is charted for the line"), Told(Forecasts.BagEmpty(ward.Balance(), "1", ward.At("09:00"))));
        ward.Flow("08:00", 0);
        Assert.Equal((null, "the flow is stopped"), Told(Forecasts.BagEmpty(ward.Balance(), "1", ward.At("09:00"))));
        Assert.Equal(
            (null, "the container was never read"),
            Told(Forecasts.ContainerFull(ward.Balance(), "1", Ml(2000), 0.5m, Urine(0), ward.At("09:00")))
        );
        Assert.StartsWith(
            "nothing runs in and 0 mL is held. Taken as empty",
            Told(Forecasts.DistensionLimit(ward.Balance(), (Ml(500), "a limit"), Urine(0), ward.At("09:00"))).Item2,
            StringComparison.Ordinal
        );
        ward.BagTakenDown("09:30", 0).Flow("09:30", 100);
        Assert.Equal((null, "no bag hangs on the line"), Told(Forecasts.BagEmpty(ward.Balance(), "1", ward.At("10:00"))));
    }

    [Fact]
    public void A_limit_that_is_passed_is_now() =>
        Assert.Equal(
            Duration.Zero,
            Forecasts
                .DistensionLimit(Opens("08:00").Scan("08:00", 600).Balance(), (Ml(500), "a limit"), Urine(0), Opens("08:00").At("08:00"))
                .In
        );

    [Fact]
    public void Each_hanging_bag_each_container_in_use_and_the_bladder_are_forecast()
    {
        var ward = Opens("08:00")
            .BagHung("08:00", 3000)
            .Flow("08:00", 500)
            .BagHung("08:00", 1000, line: "2")
            .Flow("08:00", 100, line: "2")
            .Level("08:30", 200);
        ward.Chart(new Episodes.DrainageEmptied(ward.Header("08:15"), "old", Ml(80)));
        Assert.Equal(
            [("bag-empty", "1"), ("bag-empty", "2"), ("container-full", "1"), ("distension-limit", "bladder")],
            ward.Forecast("09:00").Select(f => (f.Kind, f.What))
        );
    }

    [Fact]
    public void Where_two_containers_are_in_use_each_is_taken_to_get_all_of_it()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500).Level("08:30", 200);
        ward.Chart(new Episodes.DrainageLevelRead(ward.Header("08:45"), "meter", Ml(50)));
        var full = ward.Forecast("09:00").Where(f => f.Kind == "container-full").ToList();
        Assert.Equal(["1", "meter"], full.Select(f => f.What));
        Assert.All(full, f => Assert.EndsWith("and all of it runs into this one", f.Assumption, StringComparison.Ordinal));
    }

    [Fact]
    public void Urine_is_taken_as_the_latest_interval_made_it()
    {
        // 640 out, 480 in over 2 h: 80 mL/h; a best estimate knows that a bag holds more than its label says, so measured without doubt
        // here.
        var ward = Opens("08:00").Instilled("10:00", 480, from: "08:00").Emptied("10:00", 640).Flow("10:00", 0);
        var urine = Forecasts.Urine(ward.Balance(Exact), ward.At("11:00"), ForecastSettings.Default);
        Assert.Equal((80m, "urine 80 mL/h, the best estimate of 08:00 to 10:00"), (urine.Rate.MillilitresPerHour, urine.Whence));

        var before = Forecasts.Urine(ward.Balance(Exact), ward.At("09:00"), ForecastSettings.Default);
        Assert.Equal((60m, "urine 60 mL/h, assumed: none measured yet"), (before.Rate.MillilitresPerHour, before.Whence));
    }

    [Fact]
    public void An_output_below_zero_forecasts_no_urine_and_says_so()
    {
        var ward = Opens("08:00").Instilled("09:00", 500, from: "08:00").Emptied("09:00", 300).Flow("09:00", 500);
        var urine = Forecasts.Urine(ward.Balance(), ward.At("09:00"), ForecastSettings.Default);
        Assert.Equal(
            (FlowRate.Stopped, "urine taken as 0 mL/h, for the best estimate of 08:00 to 09:00 is below 0"),
            (urine.Rate, urine.Whence)
        );
    }

    [Fact]
    public void Behind_a_clamp_the_bladder_fills_from_what_was_left_to_dwell()
    {
        // 60 mL dwell and 30 mL of urine by half past: (500 − 90) mL of room at 60 mL/h, 6 h 50 min.
        var ward = Opens("08:00").Syringe("08:00", 60).Clamp("08:00");
        var forecast = Assert.Single(ward.Forecast("08:30"));
        Assert.Equal(ward.At("15:20"), forecast.At);
        Assert.StartsWith(
            "from 90 mL to 500 mL. The drain is clamped since 08:00: 60 mL instilled and 30 mL urine since.",
            forecast.Assumption,
            StringComparison.Ordinal
        );
    }

    [Fact]
    public void Nothing_runs_into_the_container_behind_a_clamp()
    {
        var ward = Opens("08:00").Level("08:00", 100).Clamp("08:00");
        Assert.Equal(
            (null, "the drain is clamped since 08:00: nothing runs into it"),
            Told(ward.Forecast("08:30").Single(f => f.Kind == "container-full"))
        );
    }

    [Fact]
    public void A_scan_counts_until_drainage_was_read_long_after_it()
    {
        var ward = Opens("08:00").Emptied("08:30", 100).Scan("08:35", 320).Flow("08:00", 0);
        Assert.StartsWith(
            "from 320 mL to 500 mL. By the scan at 08:35, if the outflow stopped now.",
            ward.Forecast("08:40")[^1].Assumption,
            StringComparison.Ordinal
        );
        ward.Emptied("09:00", 300);
        Assert.StartsWith("from 0 mL to 500 mL. Taken as empty", ward.Forecast("09:05")[^1].Assumption, StringComparison.Ordinal);
    }

    [Fact]
    public void An_unknown_flow_is_not_a_stopped_one()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Level("08:00", 0);
        Assert.All(ward.Forecast("09:00"), f => Assert.Null(f.In));
        Assert.Equal("irrigation runs and no flow is charted for line 1", ward.Forecast("09:00")[^1].Assumption);
    }

    [Fact]
    public void A_flow_ends_with_the_bag_that_it_ran_from()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 600).BagTakenDown("08:30", 2700).Scan("08:30", 0);
        Assert.Contains("irrigant 0 mL/h", Assert.Single(ward.Forecast("09:00")).Assumption, StringComparison.Ordinal);
    }

    [Fact]
    public void A_bag_on_a_pump_is_a_store_that_nobody_reads()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500).PumpTotal("08:00", 0).PumpTotal("09:00", 500);
        Assert.Equal(
            "a pump delivers what hangs, and its counter does not say what is left in the bag",
            ward.Forecast("09:00")[0].Assumption
        );
    }

    [Theory] // clinical reference 2.3: at 4, 8 and 12 years 150, 270 and 390 mL
    [InlineData(4, null, 150)]
    [InlineData(8, null, 270)]
    [InlineData(12, null, 390)]
    [InlineData(17, null, 500)]
    [InlineData(18, null, 500)]
    [InlineData(null, null, 500)]
    [InlineData(70, 180, 180)]
    [InlineData(4, 200, 200)]
    public void The_limit_is_the_patients_own_capacity_or_goes_by_age(int? years, int? capacity, int limit) =>
        Assert.Equal(Ml(limit), ForecastSettings.Default.LimitFor(years, capacity is { } own ? Ml(own) : null).Limit);

    [Fact]
    public void An_episode_that_has_ended_has_no_forecast()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500);
        Assert.Equal(2, ward.Forecast("09:00").Length);
        Assert.Empty(
            Forecasts.Of(
                ward.Balance().In(ward.Frame with { End = ward.At("09:00") }).Balance,
                null,
                null,
                ward.At("09:00"),
                ForecastSettings.Default
            )
        );
    }

    [Theory] // clinical reference 1.7: drop factors in use
    [InlineData(10)]
    [InlineData(12)]
    [InlineData(15)]
    [InlineData(20)]
    [InlineData(60)]
    public void Drops_to_flow_and_back(int dropsPerMillilitre)
    {
        var set = new DropFactor(dropsPerMillilitre);
        for (var drops = 0; drops <= 300; drops++)
            Assert.Equal(drops, FlowRate.FromDropsPerMinute(drops, set).ToDropsPerMinute(set));
    }

    [Fact] // clinical reference 1.7: with 60 drops/mL, drops per minute are mL per hour
    public void A_microdrip_counts_millilitres_per_hour() => Assert.Equal(83, FlowRate.FromDropsPerMinute(83, new(60)).MillilitresPerHour);

    [Fact] // check-value W14, and its mirror: half away from zero, not to even
    public void Half_a_drop_is_rounded_up()
    {
        Assert.Equal(3, FlowRate.FromMillilitresPerHour(10).ToDropsPerMinute(new(15))); // 2.5
        Assert.Equal(2, FlowRate.FromMillilitresPerHour(9.96m).ToDropsPerMinute(new(15))); // 2.49
        Assert.Equal(4, FlowRate.FromMillilitresPerHour(14).ToDropsPerMinute(new(15))); // 3.5
    }

    [Fact] // clinical reference 1.11
    public void Grams_are_not_millilitres()
    {
        Assert.Equal(3429.4m, Math.Round(Mass.FromGrams(3450).At(1.006m).Millilitres, 1));
        Assert.Equal(67.6m, Math.Round(Mass.FromGrams(70).At(1.035m).Millilitres, 1));
        Assert.Equal(3000m, Math.Round(Mass.FromGrams(3013.8m).At(1.0046m).Millilitres, 1));
    }

    [Fact] // clinical reference 1.11, through the balance: a weighed drainage container
    public void A_weighed_container_is_a_volume_by_its_density()
    {
        var ward = Opens("08:00");
        ward.Chart(new Episodes.DrainageWeighed(ward.Header("12:00"), "1", Mass.FromGrams(3520), Mass.FromGrams(70), null, true));
        Assert.Equal(3429.4m, Math.Round(ward.Interval("12:00").Drained!.Value.Millilitres, 1)); // (3520 − 70) / 1.006
    }

    private static UrineForecast Urine(decimal millilitresPerHour) => new(FlowRate.FromMillilitresPerHour(millilitresPerHour), "as given");

    private static (Duration?, string) Told(Forecast forecast) => (forecast.In, forecast.Assumption);
}
