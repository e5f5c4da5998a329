using Irrigation.Episodes;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F1: warning from 200 mL whose interval lies above 0, critical from 500 mL or 0.8 of the patient's own capacity (clinical reference 2.4
/// and 9; our judgement).
/// </summary>
public class OutflowDeficitTests
{
    private const string Slug = "outflow-deficit";

    /// <summary>600 mL/h from 18:00; the drainage bag empty then and read an hour later.</summary>
    private static Ward Read(decimal at19) =>
        Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Level("18:00", 0).Level("19:00", at19);

    [Theory]
    [InlineData(401, null)] // 600 in − 401 out = 199
    [InlineData(400, FlagPriority.High)] // 200
    [InlineData(101, FlagPriority.High)] // 499
    [InlineData(100, FlagPriority.Urgent)] // 500
    public void It_warns_from_200_mL_and_is_urgent_from_500(decimal drained, FlagPriority? priority) =>
        Assert.Equal(priority, Read(drained).Exactly("19:00").Priority(Slug));

    [Fact]
    public void What_the_marks_of_a_bag_cannot_tell_is_undecided_and_weighing_decides_it()
    {
        // 1000 − 800 = 200: the charted flow alone is 12 % in doubt, ±120 mL at k = 1.
        var fast = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 1000).Level("18:00", 0).Level("19:00", 800);
        var (why, needs) = fast.Flags("19:00").Undecided(Slug);
        Assert.EndsWith(" mL, which does not lie above 0. The limit is 200 mL", why);
        Assert.Equal("a weighed drainage, a bladder scan, or the next reading", needs);

        // The same, pumped (±5 %, u = 29 mL) and weighed (±5 g): 200 ± 58, and the minutes of the readings.
        var weighed = Opens("18:00").PumpTotal("18:00", 0).Weighed("18:00", 0, 0).PumpTotal("19:00", 1000).Weighed("19:00", 804.8m, 0);
        Assert.Equal(FlagPriority.High, weighed.Flags("19:00").Priority(Slug));
    }

    [Fact]
    public void Critical_does_not_wait_for_the_interval_and_is_urgent_with_it()
    {
        // 5 h of 600 mL/h read hourly, 100 mL short each: 500 mL of 3000, and the flow alone is off by 12 %, 367 mL: 1.3 of them, and not
        // 2.
        Ward Short() =>
            Opens("18:00")
                .BagHung("18:00", 5000)
                .Flow("18:00", 600)
                .Level("18:00", 0)
                .Level("19:00", 500)
                .Level("20:00", 1000)
                .Level("21:00", 1500)
                .Level("22:00", 2000)
                .Level("23:00", 2500);
        var record = Short().Flags("23:00");
        Assert.Equal("23:00-", record.Stood(Slug));
        Assert.Equal(FlagPriority.High, record.Priority(Slug));
        Assert.Contains("95 % interval is -", record.Says(Slug), StringComparison.Ordinal);

        // The bag weighed: 3000 mL left it for certain.
        var weighed = Short() is var ward ? ward.Chart(new BagRead(ward.Header("23:00", MeasuringWay.Weighed), "1", Ml(2000))) : null;
        Assert.Equal(FlagPriority.Urgent, weighed!.Flags("23:00").Priority(Slug));

        // A site that does not wait.
        var atOnce = FlagLimits.Default with
        {
            Flags = FlagSettings.Default with { DeficitUrgentFrom = 0 },
        };
        Assert.Equal(FlagPriority.Urgent, Short().Flags("23:00", limits: atOnce).Priority(Slug));
    }

    [Fact]
    public void What_stays_behind_little_by_little_adds_up() =>
        Assert.Equal("20:00-", Read(500).Level("20:00", 1000).Exactly("20:30").Stood(Slug)); // 100 + 100

    [Fact]
    public void It_is_cleared_at_three_quarters_of_the_threshold_so_that_it_does_not_flap()
    {
        // 200, then 10 mL back and 10 mL more each hour: 190, 200, 190 …
        var dancing = Read(400).Level("20:00", 1010).Level("21:00", 1600).Level("22:00", 2210);
        Assert.Equal("19:00-", dancing.Exactly("22:30").Stood(Slug));
        Assert.Equal("19:00-", Read(400).Level("20:00", 1049).Exactly("20:30").Stood(Slug)); // 200 − 49 = 151
        Assert.Equal("19:00-20:00", Read(400).Level("20:00", 1050).Exactly("20:30").Stood(Slug)); // 150 = 0.75 · 200
    }

    [Fact]
    public void Urgent_becomes_high_at_three_quarters_of_the_critical_threshold()
    {
        Assert.Equal(FlagPriority.Urgent, Read(100).Level("20:00", 825).Exactly("20:00").Priority(Slug)); // 500 − 125 = 375 = 0.75 · 500
        Assert.Equal(FlagPriority.High, Read(100).Level("20:00", 826).Exactly("20:00").Priority(Slug));
    }

    [Fact]
    public void What_is_held_back_again_later_is_a_new_flag() =>
        // Held back are 300; 0; 300.
        Assert.Equal("19:00-20:00, 21:00-", Read(300).Level("20:00", 1200).Level("21:00", 1500).Exactly("21:30").Stood(Slug));

    [Fact]
    public void A_bag_that_was_emptied_and_charted_late_retracts_it()
    {
        var ward = Read(300);
        var before = ward.Exactly("19:30");
        Assert.Equal("19:00-", before.Stood(Slug));
        var (after, changes) = ward.Later(
            before,
            w => new Episodes.DrainageEmptied(w.Header("18:30", recordedAt: "19:30", id: "late", from: null), "2", Ml(300)),
            Exact
        );
        Assert.Equal("", after.Stood(Slug));
        Assert.Contains(changes, change => change.Before?.Slug == Slug && change.After is null);
    }

    [Theory]
    [InlineData(505, null)] // 0.8 · 300 = 240 is critical, and 200 · 240 / 500 = 96 the warning: 95
    [InlineData(504, FlagPriority.High)] // 96
    [InlineData(361, FlagPriority.High)] // 239
    [InlineData(360, FlagPriority.Urgent)] // 240
    public void A_small_bladder_has_small_limits(decimal drained, FlagPriority? priority) =>
        Assert.Equal(priority, Read(drained).Exactly("19:00", Story.Adult with { BladderCapacity = Ml(300) }).Priority(Slug));

    [Fact]
    public void A_child_has_a_child_s_limits_and_unknown_age_an_adult_s()
    {
        // 8 years: (8 + 1) · 30 = 270 mL (ICCS, clinical reference 2.3), 0.8 of it 216.
        Assert.Equal(FlagPriority.Urgent, Read(384).Exactly("19:00", Story.Child).Priority(Slug));
        Assert.Equal(FlagPriority.High, Read(385).Exactly("19:00", Story.Child).Priority(Slug));
        Assert.Null(Read(401).Exactly("19:00", Story.OfUnknownAge).Priority(Slug));
        Assert.Equal(FlagPriority.High, Read(400).Exactly("19:00", Story.OfUnknownAge).Priority(Slug));
    }

    [Theory] // no bladder: a slip, and an adult's limits hold; the smallest that counts has limits of its own
    [InlineData("0", null, 199)]
    [InlineData("0", FlagPriority.High, 200)]
    [InlineData("0.0000000000000000000000000001", FlagPriority.High, 499)]
    [InlineData("0.0000000000000000000000000001", FlagPriority.Urgent, 500)]
    [InlineData("9.9", FlagPriority.Urgent, 500)]
    [InlineData("10", FlagPriority.Urgent, 8)] // 0.8 · 10
    public void A_capacity_that_cannot_be_is_as_good_as_none(string capacity, FlagPriority? priority, decimal missing)
    {
        var own = Ml(decimal.Parse(capacity, System.Globalization.CultureInfo.InvariantCulture));
        Assert.Equal(priority, Read(600 - missing).Exactly("19:00", Story.Adult with { BladderCapacity = own }).Priority(Slug));
    }

    [Fact]
    public void A_large_bladder_does_not_raise_the_limit() =>
        Assert.Equal(FlagPriority.Urgent, Read(100).Exactly("19:00", Story.Adult with { BladderCapacity = Ml(900) }).Priority(Slug));

    [Fact]
    public void A_leak_that_is_charted_is_accounted_for() => Assert.Equal("", Read(300).Leak("19:00", 300).Exactly("19:00").Stood(Slug));

    [Fact]
    public void A_scan_of_the_open_bladder_counts_where_it_says_more()
    {
        Assert.Equal("", Read(660).Scan("19:20", 199).Exactly("19:30").Stood(Slug));
        var scanned = Read(660).Scan("19:20", 200).Exactly("19:30");
        Assert.Equal("bladder scan of 200 mL at 19:20 with the drain open. The limit is 200 mL.", scanned.Says(Slug));
        Assert.Equal("", Read(660).Clamp("19:10").Scan("19:20", 250).Exactly("19:30").Stood(Slug)); // shut in, as it should be
        Assert.Equal("19:20-19:40", Read(660).Scan("19:20", 200).Scan("19:40", 150).Exactly("19:50").Stood(Slug)); // 0.75 · 200
        Assert.Equal("19:20-", Read(660).Scan("19:20", 200).Scan("19:40", 151).Exactly("19:50").Stood(Slug));
    }

    [Fact]
    public void A_scan_speaks_for_itself_where_the_readings_do_not_tell()
    {
        var unread = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600);
        Assert.Equal(FlagPriority.Urgent, unread.Scan("18:40", 500).Flags("18:50").Priority(Slug));
        Assert.Equal("18:40-", unread.Flags("18:50").Stood(Slug));

        // A level that fell by more than a reading may be wrong by: what drained is not known, and the scan is.
        var fell = Read(660).Level("20:00", 100).Scan("20:05", 250);
        Assert.Equal("bladder scan of 250 mL at 20:05 with the drain open. The limit is 200 mL.", fell.Exactly("20:10").Says(Slug));
    }

    [Fact]
    public void An_urgent_one_that_rests_on_one_reading_says_which()
    {
        // 19:00 65 mL are charted where 650 drained: 535 of 600 are missing, and the hour before all came back.
        var ward = Opens("17:00").BagHung("17:00", 3000).Flow("17:00", 600).Emptied("17:00", 0).Emptied("18:00", 650).Emptied("19:00", 65);
        Assert.EndsWith(
            "limit is 500 mL. It rests on one entry: drainage emptied of 65 mL at 19:00. "
                + "It is 65 mL since the one before, far less than the 650 mL from 17:00 to 18:00. "
                + "Look at the patient, and check the entry.",
            ward.Exactly("19:00").Says(Slug),
            StringComparison.Ordinal
        );
        Assert.Contains(ward.Exactly("19:00").Standing(Slug).Latest.Evidence, e => e.Entry == ward.Entries[^1].Key);
    }

    [Fact]
    public void An_urgent_one_that_rests_on_one_flow_says_which()
    {
        // 3000 are charted where 300 run: 3000 in and 350 out.
        var ward = Opens("17:00")
            .BagHung("17:00", 5000)
            .Flow("17:00", 300)
            .Emptied("17:00", 0)
            .Emptied("18:00", 350)
            .Flow("18:00", 3000)
            .Emptied("19:00", 350);
        var record = ward.Exactly("19:00");
        Assert.Contains(
            "It rests on one entry: flow set of 3,000 mL/h at 18:00. It is far more than the 300 mL from 17:00 to 18:00.",
            record.Says(Slug),
            StringComparison.Ordinal
        );
        Assert.Contains(record.Standing(Slug).Latest.Evidence, e => e.Entry == ward.Entries[^2].Key);
    }

    [Fact]
    public void Where_both_depart_the_drainage_is_named_and_of_two_lines_the_one_that_brought_most()
    {
        var both = Opens("17:00")
            .BagHung("17:00", 5000)
            .Flow("17:00", 300)
            .Emptied("17:00", 0)
            .Emptied("18:00", 350)
            .Flow("18:00", 3000)
            .Emptied("19:00", 40);
        Assert.Contains("one entry: drainage emptied of 40 mL at 19:00", both.Exactly("19:00").Says(Slug), StringComparison.Ordinal);

        var lines = Opens("17:00")
            .BagHung("17:00", 5000)
            .Flow("17:00", 300)
            .BagHung("17:00", 5000, line: "2")
            .Flow("17:00", 20, line: "2")
            .Emptied("17:00", 0)
            .Emptied("18:00", 370)
            .Flow("18:00", 3000, line: "2")
            .Emptied("19:00", 370);
        Assert.Contains("flow set of 3,000 mL/h at 18:00", lines.Exactly("19:00").Says(Slug), StringComparison.Ordinal);
    }

    [Fact]
    public void A_pump_and_a_bag_in_doubt_are_named_by_their_figures()
    {
        var pump = Opens("17:00")
            .PumpTotal("17:00", 0)
            .Emptied("17:00", 0)
            .PumpTotal("18:00", 300)
            .Emptied("18:00", 350)
            .PumpTotal("19:00", 3300)
            .Emptied("19:00", 350);
        Assert.Contains("one entry: pump total read of 3,300 mL at 19:00", pump.Exactly("19:00").Says(Slug), StringComparison.Ordinal);

        var total = Opens("17:00")
            .Instilled("18:00", 300, from: "17:00")
            .Emptied("18:00", 350)
            .Instilled("19:00", 3000, from: "18:00")
            .Emptied("19:00", 350);
        Assert.Contains("one entry: irrigant instilled of 3,000 mL at 19:00", total.Exactly("19:00").Says(Slug), StringComparison.Ordinal);
    }

    [Fact]
    public void One_that_several_readings_bear_out_and_one_that_only_warns_name_none()
    {
        var little = Read(500).Level("20:00", 1000).Level("21:00", 1500).Level("22:00", 2000).Level("23:00", 2500); // 100 each
        Assert.DoesNotContain("rests on one", little.Exactly("23:00").Says(Slug), StringComparison.Ordinal);
        Assert.DoesNotContain("rests on one", Read(650).Level("20:00", 800).Exactly("20:00").Says(Slug), StringComparison.Ordinal); // 450
    }

    [Fact]
    public void Over_a_hole_in_the_charting_it_says_that_nobody_read()
    {
        var record = Read(650).Level("22:00", 1500).Exactly("22:00"); // 1800 in and 850 out in 3 h
        Assert.Contains(
            "1,500 mL at 22:00. It is the first since 19:00: it may have been emptied",
            record.Says(Slug),
            StringComparison.Ordinal
        );
    }

    [Fact]
    public void Unmeasured_is_undecided_and_never_all_is_well()
    {
        Assert.Equal(
            ("irrigant is charted and no drainage was read", "a reading of the drainage"),
            Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 600).Flags("18:30").Undecided(Slug)
        );
        Assert.Equal(
            ("what drained or ran in from 18:00 to 19:00 is not known", "readings of the bag and of the drainage"),
            Opens("18:00").BagHung("18:00", 3000).Level("18:00", 0).Level("19:00", 300).Flags("19:00").Undecided(Slug)
        );
        Assert.IsType<Finding.NotRaised>(Opens("18:00").UrineHourly("18:00", 50).Flags("19:00").Said(Slug));
    }

    [Fact]
    public void A_nurse_can_check_it_by_hand()
    {
        Assert.Equal(
            "500 mL of irrigant not accounted for from 18:00 to 20:00: 1,200 mL in, 700 mL out, urine taken as 0. "
                + "The 95 % interval is 500 to 500 mL. The limit is 500 mL.",
            Read(350).Level("20:00", 700).Exactly("20:30").Says(Slug)
        );
    }
}
