using Irrigation.Balance;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>What a ward round asks for: totals over a time, how long at which grade, and whether the conditions for weaning hold.</summary>
public class NumbersOnRequestTests
{
    /// <summary>500 mL/h from 08:00, and 60 mL of urine an hour: read at 09:00 and 10:00.</summary>
    private static Ward Morning() =>
        Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500).Level("08:00", 0).Level("09:00", 560).Level("10:00", 1120);

    [Fact]
    public void Irrigant_and_output_since_the_start_and_since_theatre()
    {
        var balance = Morning().Balance(Exact);
        var whole = Account.Of(balance, Morning().At("08:00"), Morning().At("10:30"));
        Assert.Equal((1250m, 120m), (whole.Irrigant!.Value.Charted.Millilitres, whole.Output.Output!.Headline.Millilitres));
        Assert.Equal(Morning().At("10:00"), whole.Output.End); // nobody read since

        // From half past nine: 500 mL by 10:30, and half of the 60 mL of the hour to 10:00.
        var since = Account.Of(balance, Morning().At("09:30"), Morning().At("10:30"));
        Assert.Equal((500m, 30m), (since.Irrigant!.Value.Charted.Millilitres, since.Output.Output!.Headline.Millilitres));
        Assert.Equal((500m, 500m), (since.Irrigant95!.Value.Low.Millilitres, since.Irrigant95.Value.High.Millilitres));
    }

    [Fact]
    public void The_best_estimate_has_its_own_interval()
    {
        var account = Account.Of(Morning().Balance(), Morning().At("08:00"), Morning().At("10:00"));
        Assert.Equal(1000m, account.Irrigant!.Value.Charted.Millilitres);
        var (low, high) = (account.Irrigant95!.Value.Low.Millilitres, account.Irrigant95.Value.High.Millilitres);
        Assert.InRange(account.Irrigant.Value.Best.Millilitres, low, high);
        Assert.True(low < high);
    }

    [Fact]
    public void Before_the_first_reading_and_before_the_episode_there_is_no_output_and_no_error()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 500);
        var account = Account.Of(ward.Balance(), ward.At("07:00"), ward.At("09:00"));
        Assert.Equal((ward.At("08:00"), 500m, null), (account.Start, account.Irrigant!.Value.Charted.Millilitres, account.Output.Output));
        Assert.Equal(AbsentReason.NotCovered, account.Output.Absent);
    }

    [Fact]
    public void By_the_day_the_days_add_up_to_the_whole()
    {
        // 100 mL/h from 20:00: 400 mL by midnight, 300 mL from there to 03:00.
        var ward = Opens("20:00").BagHung("20:00", 3000).Flow("20:00", 100);
        var days = Account.Days(ward.Balance(), ward.At("+1 03:00"), 31).ToList();
        Assert.Equal([400m, 300m], days.Select(day => day.Irrigant!.Value.Charted.Millilitres));
        Assert.Equal([ward.At("20:00"), ward.At("+1 00:00")], days.Select(day => day.Start));
        Assert.Single(Account.Days(ward.Balance(), ward.At("+1 03:00"), 1));
    }

    [Fact]
    public void Where_no_flow_is_charted_it_says_so_with_the_minutes()
    {
        var ward = Opens("08:00").BagHung("08:00", 3000).Level("08:00", 0).Level("09:00", 300);
        var account = Account.Of(ward.Balance(), ward.At("08:00"), ward.At("09:10"));
        Assert.Equal((null, "no flow is charted on line 1 from 08:00 to 09:10 (70 min)"), (account.Irrigant, account.AbsentSays));
        Assert.Equal(
            "the irrigant has not been read yet. No flow is charted on line 1 from 08:00 to 09:00 (60 min)",
            ward.Interval("09:00").AbsentSays(ward.Balance())
        );

        // Two bags, the second without a flow of its own kind: the line's flow goes on, and nothing is absent.
        var charted = Morning();
        Assert.Empty(AbsentFlow.Between(charted.Balance(), charted.At("08:00"), charted.At("10:00")));
        Assert.Null(charted.Interval("09:00").AbsentSays(charted.Balance()));
    }

    [Fact]
    public void A_look_holds_until_the_next_one_and_the_last_one_for_nothing()
    {
        var ward = Morning().Looks("08:00", 4).Looks("10:00", 3).Looks("11:00", 3).Looks("12:00", 1);
        Assert.Equal(
            ["grade 4 on 'five grades' 2 1", "grade 3 on 'five grades' 2 2", "grade 1 on 'five grades' 0 1"],
            LooksOverTime
                .Of(ward.Balance().Log, ward.At("08:00"), ward.At("14:00"))
                .Select(alike => $"{alike.Says} {alike.Lasted.TotalHours:0} {alike.Looks}")
        );
    }

    [Theory]
    [InlineData("+1 06:59", false)] // light since 19:00: 11 h 59 min
    [InlineData("+1 07:00", true)]
    public void Light_drainage_without_clots_for_12_hours(string asOf, bool holds)
    {
        var conditions = Night(Light()).Flags(asOf).Weaning();
        Assert.Equal((holds, "light drainage for 12 h"), (conditions[0].Holds, conditions[0].Name));
        Assert.Equal((holds, "no clots for 12 h"), (conditions[1].Holds, conditions[1].Name));
        Assert.Equal(Opens("19:00").At("19:00"), conditions[0].Since);
    }

    [Fact]
    public void Clots_in_between_begin_it_anew()
    {
        var clots = Night(Light().Looks("23:00", 2, clots: "few").Looks("+1 00:00", 2, clots: "none")).Flags("+1 07:00").Weaning();
        Assert.Equal((true, false), (clots[0].Holds, clots[1].Holds));
        Assert.Equal("so only since 00:00", clots[1].Says);
    }

    [Fact]
    public void A_look_of_long_ago_tells_nothing_of_now_and_no_look_tells_nothing()
    {
        // The last look at 06:30; from 10:31 on it is older than 4 h.
        var later = Night(Light()).Flags("+1 10:31").Weaning();
        Assert.Equal((null, null), (later[0].Holds, later[1].Holds));
        Assert.StartsWith("nobody charted how dark the drainage is in the last 4 h", later[0].Says, StringComparison.Ordinal);
        Assert.Equal("nobody charted how dark the drainage is", Morning().Flags("10:30").Weaning()[0].Says);
    }

    [Fact]
    public void A_dark_grade_does_not_hold_and_words_tell_where_there_is_no_grade()
    {
        Assert.False(Morning().Looks("10:00", 3).Flags("10:30").Weaning()[0].Holds);
        Assert.False(Morning().Looks("10:00", colour: "dark red").Flags("10:30").Weaning()[0].Holds);
        Assert.Null(Morning().Looks("10:00", colour: "peculiar").Flags("10:30").Weaning()[0].Holds);
        Assert.StartsWith("so only since", Morning().Looks("10:00", colour: "light pink").Flags("10:30").Weaning()[0].Says);
    }

    [Fact]
    public void The_outflow_is_free_where_it_is_read_and_no_flag_or_washout_was_for_12_hours()
    {
        Assert.True(Night(Light()).Flags("+1 07:00").Weaning()[2].Holds);
        var washed = Night(Light().Washout("23:00", cleared: true)).Flags("+1 07:00").Weaning()[2];
        Assert.Equal((false, "a washout was performed at 14 Mar 23:00"), (washed.Holds, washed.Says));
        var unread = Light().Flags("+1 07:00").Weaning()[2];
        Assert.Equal((null, "the drainage is not read"), (unread.Holds, unread.Says));
    }

    [Fact]
    public void The_haemoglobin_is_never_told_and_without_irrigation_nothing_is_asked()
    {
        Assert.Null(Night(Light()).Flags("+1 07:00").Weaning()[3].Holds);
        Assert.True(WeaningConditions.Hold(Night(Light()).Flags("+1 07:00")));
        Assert.False(WeaningConditions.Hold(Night(Light()).Flags("+1 06:59")));
        Assert.False(WeaningConditions.Hold(Opens("08:00").Flags("09:00")));
        Assert.Empty(Opens("08:00").Flags("09:00").Weaning());
    }

    /// <summary>From 19:00 on light and without clots, looked at often enough.</summary>
    private static Ward Light() =>
        Opens("18:00")
            .BagHung("18:00", 3000)
            .Flow("18:00", 60)
            .Looks("18:00", 4, clots: "few")
            .Looks("19:00", 2, clots: "none")
            .Looks("22:00", 2, clots: "none")
            .Looks("+1 03:00", 1, clots: "none")
            .Looks("+1 06:30", 1, clots: "none");

    /// <summary>And its drainage is read every half hour: 120 mL/h.</summary>
    private static Ward Night(Ward ward)
    {
        for (var n = 0; n <= 27; n++)
        {
            var minutes = 18 * 60 + n * 30;
            var clock = $"{(minutes >= 1440 ? "+1 " : "")}{minutes % 1440 / 60:00}:{minutes % 60:00}";
            ward.Level(clock, 60 * n);
        }

        return ward;
    }
}

internal static class Asked
{
    public static List<WeaningCondition> Weaning(this FlagRecord record)
    {
        var conditions = WeaningConditions.Of(record).ToList();
        Assert.All(
            conditions.SelectMany(condition => new[] { condition.Name, condition.Says }),
            says => Assert.Empty(PlainWords.Faults(says))
        );
        return conditions;
    }
}
