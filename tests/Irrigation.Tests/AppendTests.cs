using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// What an append works out again. Stories with everything in them that can reach beyond its own hour, each told in every order that
/// matters: whichever entry comes last, is put right or taken back, the balance is that of the whole log.
/// </summary>
public class AppendTests
{
    private static readonly Dictionary<string, Func<Ward>> Stories = new()
    {
        ["a night of bags"] = () =>
            Opens("20:00")
                .Level("20:00", 100)
                .BagHung("20:00", 3000, prime: null)
                .Flow("20:00", 600)
                .Level("21:00", 760)
                .BagRead("22:00", 1700)
                .Emptied("22:30", 1500)
                .Flow("23:00", 900)
                .BagTakenDown("+1 01:00", 0)
                .BagHung("+1 01:00", 3000)
                .Emptied("+1 02:00", 2000)
                .BagTakenDown("+1 03:00", null)
                .BagHung("+1 03:00", 1000)
                .Level("+1 03:30", 1300)
                .BagRead("+1 04:00", 200)
                .Emptied("+1 05:00", 1500),
        ["a bag hung before the one that seemed the first"] = () =>
            Opens("08:00")
                .BagHung("08:00", 1000, prime: null)
                .BagHung("10:00", 3000, prime: null)
                .Emptied("10:00", 900)
                .Emptied("11:00", 800)
                .Emptied("12:00", 800)
                .Emptied("13:00", 800)
                .BagTakenDown("14:00", 0)
                .Emptied("14:00", 800),
        ["a bag between two of urine"] = () =>
            Opens("08:00")
                .Urine("09:00", 50)
                .BagHung("09:30", 1000)
                .Emptied("10:00", 300)
                .Urine("10:30", 20)
                .BagTakenDown("11:00", 100)
                .Emptied("11:30", 800)
                .Urine("12:00", 40)
                .Instilled("13:00", 200)
                .Emptied("13:00", 230),
        ["bags read and never hung"] = () =>
            Opens("08:00")
                .Urine("08:30", 20)
                .BagRead("09:00", 800)
                .Emptied("09:30", 300)
                .BagRead("10:00", 900)
                .Emptied("10:30", 100)
                .BagTakenDown("11:00", 0)
                .Emptied("11:30", 950)
                .BagHung("12:00", 1000)
                .Flow("12:30", 300)
                .Emptied("13:00", 300),
        ["a pump and its bags"] = () =>
            Opens("08:00")
                .BagHung("08:00", 3000)
                .PumpTotal("08:30", 0)
                .Flow("08:30", 400)
                .Emptied("09:00", 250)
                .PumpTotal("10:00", 700)
                .Emptied("10:30", 600)
                .BagRead("11:00", 1900)
                .BagHung("11:30", 3000)
                .PumpTotal("12:00", 1600)
                .Emptied("12:30", 1200)
                .PumpTotal("13:00", 100)
                .Emptied("13:30", 500)
                .BagTakenDown("14:00", 1500)
                .Urine("14:30", 40)
                .Urine("15:30", 60),
        ["a bag that becomes a pump's"] = () =>
            Opens("08:00")
                .BagHung("08:00", 1000)
                .Emptied("09:00", 300)
                .Emptied("10:00", 300)
                .BagRead("10:30", 400)
                .PumpTotal("11:00", 500)
                .BagTakenDown("11:00", 300)
                .Emptied("11:30", 500)
                .PumpTotal("12:00", 700)
                .Emptied("12:30", 300),
        ["totals with a start and without"] = () =>
            Opens("08:00")
                .Emptied("08:30", 100)
                .Instilled("09:00", 300)
                .Emptied("09:30", 350)
                .Emptied("10:00", 300)
                .Instilled("11:00", 900)
                .Emptied("11:00", 400)
                .Instilled("13:00", 600, from: "11:30")
                .Emptied("12:00", 250)
                .Urine("12:30", 5)
                .Instilled("14:00", 100)
                .Emptied("14:00", 500)
                .Emptied("15:00", 90),
        ["totals on two lines and a bag besides"] = () =>
            Opens("08:00")
                .Instilled("09:00", 300)
                .Instilled("10:00", 200, line: "2")
                .Emptied("09:30", 500)
                .BagHung("10:00", 1000)
                .Emptied("10:30", 300)
                .Instilled("11:00", 90)
                .BagTakenDown("12:00", 500)
                .Emptied("12:30", 700)
                .Instilled("13:00", 50, line: "2")
                .Emptied("13:00", 80),
        ["flows alone"] = () =>
            Opens("08:00")
                .Emptied("09:00", 200)
                .Flow("08:30", 100)
                .Emptied("10:00", 200)
                .Flow("10:30", 300)
                .Emptied("11:00", 300)
                .Flow("11:30", 0)
                .Emptied("12:00", 200)
                .Emptied("13:00", 60),
        ["a flow first charted late in the bag"] = () =>
            Opens("08:00")
                .BagHung("08:00", 3000)
                .Emptied("09:00", 600)
                .Emptied("10:00", 600)
                .Flow("10:30", 500)
                .Emptied("11:00", 600)
                .Flow("12:00", 900)
                .Emptied("12:30", 800)
                .BagTakenDown("13:00", 0)
                .Emptied("13:30", 900),
        ["dwells"] = () =>
            Opens("08:00")
                .Urine("08:20", 10)
                .Syringe("09:00", 200)
                .Clamp("09:10")
                .Level("09:30", 80)
                .Level("09:40", 90)
                .Release("10:10")
                .Emptied("10:30", 320)
                .Syringe("11:00", 50)
                .Clamp("11:20")
                .Release("11:40")
                .Emptied("12:00", 90)
                .Syringe("12:30", 60)
                .Emptied("12:40", 70)
                .Clamp("12:45")
                .Level("13:00", 5),
        ["a clamp while a bag runs"] = () =>
            Opens("08:00")
                .BagHung("08:00", 1200)
                .Emptied("09:00", 300)
                .Clamp("09:30")
                .Emptied("10:00", 100)
                .Release("10:30")
                .Emptied("11:00", 200)
                .Clamp("11:30")
                .Clamp("11:40")
                .Release("12:00")
                .Emptied("12:30", 400)
                .BagTakenDown("13:00", 0)
                .Emptied("13:00", 300)
                .Emptied("13:20", 30),
        ["a clamp beside scans"] = () =>
            Opens("08:00")
                .Urine("09:00", 50)
                .Scan("09:10", 30)
                .Clamp("09:20")
                .Urine("09:30", 20)
                .Scan("09:25", 90)
                .Release("09:50")
                .Urine("10:00", 120)
                .Scan("10:12", 10)
                .Urine("10:20", 15)
                .Scan("10:50", 70)
                .Urine("11:00", 50),
        ["a syringe after readings close together"] = () =>
            Opens("08:00")
                .Urine("08:50", 10)
                .Urine("08:55", 12)
                .Syringe("09:00", 100)
                .Clamp("09:05")
                .Release("09:40")
                .Emptied("10:00", 130)
                .Syringe("10:30", 50)
                .Emptied("11:00", 60),
        ["a flow that goes on into the next bag"] = () =>
            Opens("21:00")
                .BagHung("22:00", 1000)
                .Flow("21:30", 100)
                .Flow("22:30", 800)
                .BagTakenDown("23:00", 0)
                .BagHung("23:00", 3000)
                .Emptied("23:10", 1100)
                .Flow("23:30", 400)
                .Emptied("+1 00:00", 500)
                .Emptied("+1 00:30", 500)
                .Emptied("+1 01:00", 500)
                .BagTakenDown("+1 02:00", 0)
                .Emptied("+1 02:00", 1600)
                .Flow("+1 02:00", 0)
                .Emptied("+1 03:00", 60),
        ["urine before a total that comes hours later"] = () =>
            Opens("08:00")
                .Instilled("08:10", 50)
                .Urine("08:30", 40)
                .Emptied("09:00", 100)
                .Emptied("09:30", 100)
                .Emptied("10:00", 100)
                .Emptied("10:30", 100)
                .Instilled("11:00", 500)
                .Emptied("11:00", 200),
        ["a clamp before a total"] = () =>
            Opens("08:00")
                .Urine("08:30", 20)
                .Clamp("09:00")
                .Release("11:00")
                .Instilled("14:00", 600, from: "10:00")
                .Emptied("12:00", 250)
                .Emptied("12:30", 120)
                .Emptied("13:00", 120)
                .Emptied("14:00", 240),
        ["scans hours apart"] = () =>
            Opens("08:00")
                .Scan("08:00", 80)
                .Urine("09:00", 50)
                .Urine("09:20", 20)
                .Scan("09:10", 40)
                .Urine("11:00", 60)
                .Urine("13:00", 60)
                .Scan("13:15", 20)
                .Urine("13:25", 5)
                .Urine("15:00", 60)
                .Scan("15:16", 90)
                .Urine("17:00", 60)
                .Scan("16:45", 10),
        ["levels that waver"] = () =>
            Opens("08:00")
                .Flow("08:00", 0)
                .Level("08:00", 50)
                .Level("09:00", 500)
                .Level("09:30", 450)
                .Level("10:00", 430)
                .Level("10:30", 520)
                .Level("11:00", 100)
                .Level("11:30", 160)
                .Emptied("12:00", 200)
                .Level("12:30", 40)
                .Level("13:00", 60, container: "meter")
                .Emptied("13:30", 80, container: "meter")
                .Weighed("14:00", 402.4m, emptied: false)
                .Weighed("15:00", 603.6m),
        ["leaks and routes"] = () =>
            Opens("08:00")
                .Urine("09:00", 50)
                .Leak("09:00", 5)
                .Leak("09:30", 15)
                .Urine("10:00", 30, UrineRoute.LeftNephrostomy)
                .Urine("10:30", 40)
                .Leak("11:00", 10)
                .Urine("12:00", 60, UrineRoute.LeftNephrostomy)
                .Urine("12:00", 7, UrineRoute.LeftNephrostomy)
                .Urine("13:00", 30, UrineRoute.Void)
                .Urine("14:00", 80, UrineRoute.LeftNephrostomy)
                .Urine("14:00", 80, UrineRoute.IlealConduit),
        ["before the start"] = () =>
            Opens("08:00")
                .Level("07:30", 50)
                .Urine("07:40", 30, UrineRoute.RightNephrostomy)
                .Clamp("07:50")
                .Level("08:20", 70)
                .Release("08:30")
                .Urine("09:00", 20, UrineRoute.RightNephrostomy)
                .Level("09:00", 150)
                .Emptied("10:00", 200),
        ["a clamp in the life of a bag that seemed to fill again"] = () =>
            Opens("07:00")
                .BagHung("08:05", 3000, prime: null)
                .Emptied("14:30", 1350, container: "jug")
                .BagRead("16:25", 800)
                .Clamp("17:05")
                .BagRead("17:50", 1350),
        ["a jug that stands beside another, taken away before"] = () =>
            TakenAway(
                Opens("07:00").Urine("09:30", 400).Urine("11:30", 1300).Emptied("17:00", 250).Level("15:00", 700, container: "2"),
                "07:55"
            ),
        ["a container taken away twice in a clamp"] = () =>
            TakenAway(TakenAway(Opens("07:00").Clamp("11:00").Scan("13:30", 1000), "13:35").Emptied("14:50", 600), "16:15")
                .Clamp("18:10")
                .Level("19:20", 0, container: "jug"),
        ["all at one instant"] = () =>
            Opens("08:00")
                .BagHung("08:00", 1000)
                .Flow("08:00", 100)
                .BagRead("09:00", 800)
                .BagTakenDown("09:00", 790)
                .BagHung("09:00", 1000)
                .PumpTotal("09:00", 0)
                .Syringe("09:00", 50)
                .Clamp("09:00")
                .Release("09:00")
                .Level("09:00", 200)
                .Emptied("09:00", 250)
                .Urine("09:00", 10)
                .Scan("09:00", 5)
                .Leak("09:00", 5)
                .PumpTotal("10:00", 150)
                .Emptied("10:00", 200),
        ["a retention that comes out, a slip and another weight"] = () =>
            Opens("08:00")
                .Weighs("08:00", 70)
                .Emptied("08:00", 0)
                .BagHung("08:00", 5000)
                .Flow("08:00", 1000)
                .Emptied("09:00", 200)
                .Emptied("10:00", 200)
                .Emptied("11:00", 3400) // what had stayed behind: doubted if one of the hours before says otherwise
                .Weighs("11:30", 40)
                .Emptied("12:00", 1800)
                .Flow("12:00", 100)
                .Emptied("13:00", 900)
                .Emptied("13:05", 900)
                .Emptied("14:00", 1200),
        ["two bags of a Y-set and a pump on another line"] = () =>
            Opens("08:00")
                .Chart(Named("08:00", 3000, "left"))
                .Chart(Named("08:05", 3000, "right"))
                .Flow("08:05", 700)
                .PumpTotal("08:10", 0, line: "2")
                .Emptied("09:00", 700)
                .Discarded("09:10", 60)
                .Emptied("10:00", 800)
                .Chart(ReadOf("10:30", 1200, "left"))
                .Discarded("10:40", 20, line: "2")
                .PumpTotal("11:00", 250, line: "2")
                .Emptied("11:10", 900)
                .Flow("11:30", 300)
                .Chart(DownOf("12:00", 150, "left"))
                .Emptied("12:30", 500)
                .Chart(ReadOf("13:00", 2400, "right"))
                .PumpTotal("13:10", 30, restarted: true, line: "2")
                .Emptied("14:00", 600),
        ["a line whose bags a pump empties, and totals of a third"] = () =>
            Opens("08:00")
                .BagHung("08:00", 1000, prime: null)
                .PumpTotal("08:00", 0)
                .Emptied("09:00", 500)
                .PumpTotal("09:30", 600)
                .BagTakenDown("10:00", 20)
                .BagHung("10:05", 1000)
                .Discarded("10:20", 90)
                .PumpTotal("10:30", 1100)
                .Emptied("11:00", 700)
                .Instilled("11:30", 80, from: "11:00", line: "3")
                .PumpTotal("12:00", 1700)
                .BagTakenDown("12:10", 200)
                .Instilled("12:20", 40, line: "3")
                .Emptied("12:30", 900),
        ["two containers, a jug and one that was taken away"] = () =>
            TakenAway(
                    Opens("08:00")
                        .BagHung("08:00", 5000)
                        .Flow("08:00", 400)
                        .Level("08:00", 0)
                        .Level("08:00", 50, container: "2")
                        .Level("09:00", 300)
                        .Emptied("09:10", 420, container: "2")
                        .Back("09:30", 120, Vessel.Jug)
                        .Level("10:00", 700),
                    "10:20"
                )
                .Emptied("10:50", 900)
                .Emptied("11:30", 300, container: "2")
                .Level("11:35", 0)
                .Back("12:00", 60, Vessel.Basin)
                .Emptied("12:30", 420),
    };

    private static BagHung Named(string clock, int ml, string bag) =>
        new(Opens("08:00").Header(clock, id: $"hung {bag}"), "1", Ml(ml), bag, null, null, Ml(0));

    private static BagRead ReadOf(string clock, int left, string bag) =>
        new(Opens("08:00").Header(clock, id: $"read {bag} {clock}"), "1", Ml(left)) { Bag = bag };

    private static BagTakenDown DownOf(string clock, int left, string bag) =>
        new(Opens("08:00").Header(clock, id: $"down {bag}"), "1", Ml(left)) { Bag = bag };

    public static TheoryData<string> Titles => [.. Stories.Keys];

    [Fact]
    public void A_flow_charted_now_leaves_the_hours_before_it_as_they_were()
    {
        var ward = Opens("08:00").Flow("08:00", 300);
        for (var hour = 9; hour < 20; hour++)
            ward.Flow($"{hour:00}:05", 300 + hour).Emptied($"{hour:00}:30", 350);
        var before = ward.Balance();
        var after = Append(
            before,
            new FlowSet(ward.Header("19:45"), "1", Irrigation.Measures.FlowRate.FromMillilitresPerHour(900), null, null)
        );
        var again = after[FluidBalance.Bladder].Where((interval, i) => !ReferenceEquals(interval, before[FluidBalance.Bladder][i]));
        Assert.Empty(again.Select(interval => interval.End));
    }

    [Theory]
    [MemberData(nameof(Titles))]
    public void Whichever_entry_comes_last_the_balance_is_that_of_the_whole_log(string title)
    {
        var ward = Stories[title]();
        var whole = ward.Balance();
        AssertSame(whole, ward.Entries.Aggregate(Nothing(ward), (balance, entry) => Append(balance, entry)));
        AssertSame(whole, ward.Entries.Reverse().Aggregate(Nothing(ward), (balance, entry) => Append(balance, entry)));
        Assert.All(ward.Entries, last => AssertSame(whole, Append(Of(ward, ward.Entries.Where(e => e != last)), last)));
    }

    [Theory]
    [MemberData(nameof(Titles))]
    public void Whichever_entry_is_taken_back_the_balance_is_that_of_the_log_without_it(string title)
    {
        var ward = Stories[title]();
        var whole = ward.Balance();
        Assert.All(
            ward.Entries,
            entry =>
            {
                var error = new EnteredInError(entry.Header, "on the wrong patient");
                AssertSame(Of(ward, ward.Entries.Append(error)), Append(whole, error));
            }
        );
    }

    [Theory]
    [MemberData(nameof(Titles))]
    public void Whichever_entry_turns_out_to_be_of_another_time_the_balance_is_that_of_the_log_put_right(string title)
    {
        var ward = Stories[title]();
        var whole = ward.Balance();
        foreach (var minutes in new[] { -95, -20, 20, 95 })
        {
            Assert.All(
                ward.Entries.Where(e => e.Header.From is null),
                entry =>
                {
                    var moved = entry with { Header = entry.Header with { At = entry.At + Duration.FromMinutes(minutes) } };
                    AssertSame(Of(ward, ward.Entries.Append(moved)), Append(whole, moved));
                }
            );
        }
    }

    [Theory]
    [MemberData(nameof(Titles))]
    public void Several_entries_at_once_are_the_same_as_one_after_another(string title)
    {
        var ward = Stories[title]();
        foreach (var first in Enumerable.Range(0, 3))
        {
            var (one, rest) = (ward.Entries.Where((_, i) => i % 3 == first), ward.Entries.Where((_, i) => i % 3 != first).ToList());
            var before = Of(ward, one);
            AssertSame(ward.Balance(), before.After(before.Log.Append(rest, ward.At("20:00"))).Balance);
        }
    }

    [Fact]
    public void Only_what_an_append_changed_is_told()
    {
        var ward = Opens("08:00").Urine("09:00", 10).Urine("10:00", 20).Urine("11:00", 30);
        var balance = ward.Balance();
        var change = Assert.Single(
            balance.After(balance.Log.Append([new LeakEstimated(ward.Header("09:30", id: "leak"), Ml(5))], ward.At("12:00"))).Changes
        );
        Assert.Equal(
            (Ml(20), Ml(25), ward.At("10:00")),
            (change.Before!.Output!.Headline, change.After!.Output!.Headline, change.Interval.End)
        );
        Assert.Equal(Ml(25), change.Interval.Output!.Headline);
        Assert.Equal(["leak"], change.Because.Select(key => key.Id));

        // What is not about fluid, or not about the patient, changes nothing.
        Assert.Empty(
            balance
                .After(balance.Log.Append([new BladderPalpated(ward.Header("09:30", id: "palpated"), true, null)], ward.At("12:00")))
                .Changes
        );
        Assert.Empty(
            balance
                .After(
                    balance.Log.Append(
                        [new LeakEstimated(ward.Header("09:30", id: "test") with { Purpose = Purpose.Test }, Ml(5))],
                        ward.At("12:00")
                    )
                )
                .Changes
        );
    }

    [Fact]
    public void A_reading_that_comes_between_makes_two_intervals_of_one()
    {
        var ward = Opens("08:00").Urine("09:00", 10).Urine("11:00", 40);
        var balance = ward.Balance();
        var (after, changes) = balance.After(
            balance.Log.Append(
                [new UrineCollected(ward.Header("10:00", id: "between"), UrineRoute.UrethralCatheter, Ml(25))],
                ward.At("12:00")
            )
        );
        Assert.Equal(
            [(null, ward.At("10:00")), (ward.At("09:00"), ward.At("11:00"))],
            changes.Select(c => (c.Before?.Start, c.Interval.End))
        );
        Assert.Equal(
            [
                ["between"],
                new[] { "between" },
            ],
            changes.Select(c => c.Because.Select(key => key.Id).ToArray())
        );

        // Taken back, the one goes and the other is what it was, but for what the record says of it.
        var undone = after
            .After(after.Log.Append([new EnteredInError(ward.Header("10:00", id: "between"), null)], ward.At("13:00")))
            .Changes;
        Assert.Equal([(ward.At("11:00"), true), (ward.At("10:00"), false)], undone.Select(c => (c.Interval.End, c.After is not null)));
        Assert.Equal(Ml(25), undone[1].Interval.Output!.Headline);
        Assert.All(undone, c => Assert.Equal(["between"], c.Because.Select(key => key.Id)));
    }

    [Fact]
    public void A_change_is_because_of_what_it_rests_on_or_else_of_what_could_touch_it()
    {
        // Two entries at once: each interval names its own.
        var ward = Opens("08:00").Urine("09:00", 10).Urine("10:00", 20).Urine("14:00", 60);
        var balance = ward.Balance();
        var two = balance
            .After(
                balance.Log.Append(
                    [
                        new LeakEstimated(ward.Header("08:30", id: "early"), Ml(5)),
                        new LeakEstimated(ward.Header("12:00", id: "late"), Ml(5)),
                    ],
                    ward.At("15:00")
                )
            )
            .Changes;
        Assert.Equal(
            [(ward.At("09:00"), "early"), (ward.At("14:00"), "late")],
            two.Select(c => (c.Interval.End, Assert.Single(c.Because).Id))
        );

        // A clamp is in no working: what it changed it changed by its time. The leak at noon is far from it.
        var clamped = balance
            .After(
                balance.Log.Append(
                    [
                        new DrainClamped(ward.Header("09:30", id: "on")),
                        new DrainReleased(ward.Header("09:40", id: "off")),
                        new LeakEstimated(ward.Header("12:00", id: "late"), Ml(5)),
                    ],
                    ward.At("15:00")
                )
            )
            .Changes;
        Assert.Equal(["late"], clamped.Single(c => c.Interval.End == ward.At("14:00")).Because.Select(key => key.Id));
        Assert.Equal(
            ["off", "on"],
            clamped.Single(c => c.Interval.End == ward.At("10:00")).Because.Select(key => key.Id).Order(StringComparer.Ordinal)
        );
    }

    [Fact]
    public void A_change_hours_later_is_because_of_what_reaches_so_far()
    {
        // The reading at 09:15 takes the later scan for its own, so that at 14:00 the bladder is compared with that one. The leak reaches
        // no further than its hour.
        var ward = Opens("08:00")
            .Urine("09:00", 10)
            .Scan("08:50", 20)
            .Scan("09:14", 70)
            .Urine("10:00", 5)
            .Urine("11:00", 5)
            .Urine("12:00", 5)
            .Urine("14:00", 60)
            .Scan("14:00", 90);
        var balance = ward.Balance();
        Assert.Equal(Ml(70), balance[FluidBalance.Bladder][^1].RetainedChange); // 90 − 20
        var (after, changes) = balance.After(
            balance.Log.Append(
                [
                    new LeakEstimated(ward.Header("08:30", id: "leak"), Ml(5)),
                    new UrineCollected(ward.Header("09:15", id: "reading"), UrineRoute.Void, Ml(8)),
                ],
                ward.At("15:00")
            )
        );
        Assert.Equal(Ml(20), after[FluidBalance.Bladder][^1].RetainedChange); // 90 − 70
        Assert.Equal(["reading"], changes.Single(c => c.Interval.End == ward.At("14:00")).Because.Select(key => key.Id));
    }

    [Fact]
    public void A_route_is_worked_out_for_itself()
    {
        var ward = Opens("08:00").Urine("09:00", 10).Urine("09:00", 5, UrineRoute.IlealConduit).Urine("11:00", 15, UrineRoute.IlealConduit);
        var balance = ward.Balance();
        var (after, changes) = balance.After(
            balance.Log.Append([new UrineCollected(ward.Header("10:00", id: "between"), UrineRoute.IlealConduit, Ml(8))], ward.At("12:00"))
        );
        Assert.Equal([ward.At("10:00"), ward.At("11:00")], changes.Select(c => c.Interval.End));
        Assert.All(changes, c => Assert.Equal("ileal-conduit", c.Interval.Stream));
        Assert.Equal([Ml(5), Ml(8), Ml(15)], after["ileal-conduit"].Select(i => i.Output!.Headline));
    }

    [Fact]
    public void A_reading_that_was_filed_under_the_wrong_route_leaves_the_one_and_joins_the_other()
    {
        var ward = Opens("08:00").Urine("09:00", 10).Urine("10:00", 50, UrineRoute.LeftNephrostomy);
        var balance = ward.Balance();
        var (after, changes) = balance.After(
            balance.Log.Append([new UrineCollected(ward.Header("10:00", id: "e2"), UrineRoute.RightNephrostomy, Ml(50))], ward.At("12:00"))
        );
        Assert.Equal(
            [("left-nephrostomy", true, false), ("right-nephrostomy", false, true)],
            changes
                .OrderBy(c => c.Interval.Stream, StringComparer.Ordinal)
                .Select(c => (c.Interval.Stream, c.Before is not null, c.After is not null))
        );
        Assert.Equal(["bladder", "right-nephrostomy"], after.Streams);
    }

    [Fact]
    public void A_start_put_right_changes_the_intervals_that_it_cuts_and_takes_the_earlier_ones_away()
    {
        var ward = Opens("08:00")
            .Urine("09:00", 10)
            .Urine("09:30", 7, UrineRoute.LeftNephrostomy)
            .Urine("09:00", 3, UrineRoute.RightNephrostomy)
            .Urine("11:00", 40);
        var (moved, changes) = ward.Balance().In(ward.Frame with { Start = ward.At("09:15") });
        Assert.Equal(["bladder", "left-nephrostomy"], moved.Streams);
        Assert.Equal(
            [
                ("bladder", "09:00", false),
                ("bladder", "11:00", true),
                ("left-nephrostomy", "09:30", true),
                ("right-nephrostomy", "09:00", false),
            ],
            changes
                .OrderBy(c => c.Interval.Stream, StringComparer.Ordinal)
                .ThenBy(c => c.Interval.End)
                .Select(c => (c.Interval.Stream, c.Interval.End.ToString("HH:mm", null), c.After is not null))
        );
        Assert.All(changes, c => Assert.Empty(c.Because));
        Assert.Equal(4, moved.In(ward.Frame).Changes.Length);
        Assert.Contains("right-nephrostomy", moved.In(ward.Frame).Balance.Streams);
    }

    [Fact]
    public void What_goes_is_told_in_the_order_in_which_it_was()
    {
        var ward = Opens("08:00").Urine("09:00", 10).Urine("10:00", 20).Urine("11:00", 30).Urine("12:00", 40);
        var changes = ward.Balance().In(ward.Frame with { Start = ward.At("13:00") }).Changes;
        Assert.Equal([Ml(10), Ml(20), Ml(30), Ml(40)], changes.Select(c => c.Interval.Output!.Headline));
        Assert.All(changes, c => Assert.Null(c.After));
    }

    private static Ward TakenAway(Ward ward, string clock)
    {
        ward.Chart(new ContainerTakenAway(ward.Header(clock), "1", null));
        return ward;
    }

    private static FluidBalance Nothing(Ward ward) => FluidBalance.Of(EpisodeLog.Empty(ward.Frame), BalanceSettings.Default);

    private static FluidBalance Of(Ward ward, IEnumerable<Entry> entries) =>
        FluidBalance.Of(EpisodeLog.Empty(ward.Frame).Append(entries, ward.At("20:00")).Log, BalanceSettings.Default);

    private static FluidBalance Append(FluidBalance balance, Entry entry) =>
        balance.After(balance.Log.Append([entry], balance.Log.Frame.Start)).Balance;

    /// <summary>All that the intervals say, but for when entries were received: that moves with the order.</summary>
    private static void AssertSame(FluidBalance expected, FluidBalance actual)
    {
        Assert.Equal(expected.Streams, actual.Streams);
        foreach (var stream in expected.Streams)
            Assert.Equal(expected[stream].Select(Told), actual[stream].Select(Told));
    }

    private static string Told(ClosedInterval i)
    {
        var terms = $"{i.Instilled} {i.Drained} {i.Urine} {i.RetainedChange} {i.Leaked}";
        var result = $"{i.Output} {i.Absent} {i.Simple}";
        var lists = $"{string.Join(' ', i.Caveats)} {string.Join(' ', i.AssumedZero)} {string.Join(' ', i.Parts)}";
        return $"{i.Start} {i.End} {terms} {result} {lists} {string.Join(' ', i.Doubts)}";
    }
}
