using Irrigation.Episodes;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// 300 mL/h, 60 mL/h of urine. Container 1 makes way for container 2 at 10:00 and is read off 40 minutes later: nothing is blocked, and
/// until then nobody knows what drained.
/// </summary>
public class ContainerSwapTests
{
    private static readonly string[] Outflow = ["no-drainage", "outflow-deficit"];

    private static Ward UntilTen() => Opens("08:00").BagHung("08:00", 3000).Flow("08:00", 300).Level("08:00", 0).Emptied("09:00", 360);

    private static Ward Swapped() => UntilTen().Level("10:00", 0, container: "2");

    private static Ward TakenAway()
    {
        var ward = UntilTen();
        return ward.Chart(new ContainerTakenAway(ward.Header("10:00"), "1", "the sluice"));
    }

    private static Ward ReadLater(Ward ward) =>
        ward.Emptied("10:40", 360).Emptied("11:00", 360, container: "2").Emptied("12:00", 360, container: "2").BagRead("12:00", 1800);

    [Fact]
    public void No_flag_of_the_outflow_is_raised_while_it_is_not_read_nor_after()
    {
        foreach (var begun in new[] { Swapped(), TakenAway(), TakenAway().Level("10:00", 0, container: "2") })
        {
            var ward = ReadLater(begun);
            Assert.All(Outflow, slug => Assert.Equal("", ward.Flags("12:00").Stood(slug)));
            Assert.Equal("", ward.Flags("12:00").Stood("drainage-reading-stale"));
        }
    }

    [Fact]
    public void Until_it_is_read_it_is_undecided_and_says_which()
    {
        var away = TakenAway().Level("10:00", 0, container: "2").Flags("10:20");
        Assert.All(Outflow, slug => Assert.Equal("container 1 was taken away at 10:00 and not read yet", away.Undecided(slug).Why));
        Assert.All(Outflow, slug => Assert.Equal("a reading of the container that was not read", away.Undecided(slug).Needs));

        var swapped = Swapped().Flags("10:20");
        const string why = "container 2 was read at 10:00 and container 1 not since 09:00";
        Assert.All(Outflow, slug => Assert.Equal(why, swapped.Undecided(slug).Why));
    }

    [Fact]
    public void When_it_is_read_the_flags_know()
    {
        Assert.All(Outflow, slug => Assert.IsType<Finding.NotRaised>(ReadLater(TakenAway()).Flags("10:45").Said(slug)));
        Assert.All(Outflow, slug => Assert.IsType<Finding.NotRaised>(ReadLater(Swapped()).Flags("10:45").Said(slug)));

        // Nothing was in it: nothing had drained between 09:00 and 10:00, and it is said when it is read.
        var dry = TakenAway().Emptied("10:40", 0).Flags("10:45");
        Assert.Equal("10:40-", dry.Stood("no-drainage"));
        Assert.StartsWith("nothing drained from 09:00 to 10:00 while 300 mL ran in", dry.Says("no-drainage"), StringComparison.Ordinal);
    }

    [Fact]
    public void A_jug_that_catches_a_return_leaves_nothing_undecided()
    {
        var record = UntilTen().Emptied("09:21", 50, container: "jug").Flags("09:30");
        Assert.All(Outflow, slug => Assert.IsType<Finding.NotRaised>(record.Said(slug)));
    }

    [Fact]
    public void One_of_two_that_stand_side_by_side_is_awaited_when_the_books_close()
    {
        // Both fill. 1 is taken away unread, 2 is read half an hour later: what 1 holds is missing from the interval that ends then.
        var both = Opens("08:00")
            .BagHung("08:00", 3000)
            .Flow("08:00", 300)
            .Level("08:00", 0)
            .Level("08:00", 0, container: "2")
            .Level("09:00", 200)
            .Level("09:00", 160, container: "2");
        both.Chart(new ContainerTakenAway(both.Header("10:00"), "1", null)).Level("10:30", 280, container: "2");
        Assert.Equal("container 1 was taken away at 10:00 and not read yet", both.Flags("10:40").Undecided("no-drainage").Why);
        Assert.IsType<Finding.NotRaised>(both.Emptied("10:50", 560).Flags("10:55").Said("no-drainage"));
    }

    [Fact]
    public void One_that_was_read_as_it_was_taken_away_is_not_awaited()
    {
        var read = UntilTen().Emptied("10:00", 360);
        read.Chart(new ContainerTakenAway(read.Header("10:00"), "1", null));
        Assert.IsType<Finding.NotRaised>(read.Flags("10:20").Said("no-drainage"));
    }

    [Fact]
    public void Of_several_the_one_that_was_read_last_is_awaited()
    {
        // A jug caught a return at 08:30; container 2 is weighed as it is begun.
        var ward = Opens("08:00")
            .BagHung("08:00", 3000)
            .Flow("08:00", 300)
            .Level("08:00", 0)
            .Emptied("08:30", 50, container: "jug")
            .Emptied("09:00", 310);
        var nothing = Measures.Mass.FromGrams(0);
        ward.Chart(new DrainageWeighed(ward.Header("10:00", MeasuringWay.Weighed), "2", nothing, null, null, Emptied: false));
        Assert.Equal("container 2 was read at 10:00 and container 1 not since 09:00", ward.Flags("10:20").Undecided("no-drainage").Why);
    }

    [Fact]
    public void Taking_a_container_away_is_as_good_as_reading_it_for_an_hour()
    {
        Assert.Equal("11:00-", TakenAway().Flags("11:10").Stood("drainage-reading-stale"));
        var two = TakenAway();
        two.Level("10:00", 0, container: "2").Chart(new ContainerTakenAway(two.Header("10:30"), "2", null));
        Assert.Equal("11:30-", two.Flags("11:40").Stood("drainage-reading-stale"));
    }

    [Fact]
    public void A_flag_that_stands_is_not_taken_down_by_a_container_that_nobody_read()
    {
        var ward = UntilTen().Level("09:30", 0);
        Assert.Equal("09:30-", ward.Flags("09:40").Stood("no-drainage"));
        ward.Chart(new ContainerTakenAway(ward.Header("10:00"), "1", null));
        Assert.Equal("09:30-", ward.Flags("10:20").Stood("no-drainage"));
    }

    [Fact] // neither read nor charted as taken away: what drained stays unknown, and that is said after 2 h, our judgement
    public void One_that_is_read_no_more_is_asked_for()
    {
        var ward = Swapped().Level("10:50", 0, container: "2").Level("11:40", 0, container: "2");
        var record = ward.Flags("12:00");
        Assert.Equal("11:00-", record.Stood("drainage-reading-stale"));
        Assert.Equal(
            "container 2 was read at 11:40 and container 1 not since 09:00. What drained since 09:00 is not known (limit 120 min).",
            record.Says("drainage-reading-stale")
        );

        // Charted as taken away at 10:00, the container in its place decides: nothing came into it.
        ward.Chart(new ContainerTakenAway(ward.Header("10:00"), "1", null));
        Assert.Equal(("", "10:50-"), (ward.Flags("12:00").Stood("drainage-reading-stale"), ward.Flags("12:00").Stood("no-drainage")));
    }

    [Fact]
    public void The_other_container_shows_soon_enough_that_nothing_drains()
    {
        // Nobody ever reads the one that was taken away; the one in its place is empty an hour on.
        var ward = TakenAway().Level("10:00", 0, container: "2").Level("11:00", 0, container: "2");
        Assert.Equal("11:00-", ward.Flags("11:10").Stood("no-drainage"));
    }
}
