using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using Irrigation.Runs;
using Irrigation.Tests.Flags;
using NodaTime;
using NodaTime.Text;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests;

/// <summary>
/// The order as a history: what a change by telephone leaves in force, what replaces and what withdraws it, and what is compared with what
/// (common practice, no source).
/// </summary>
public class OrdersTests
{
    private static readonly Duration Dwell = Duration.FromMinutes(30);

    /// <summary>Written at 18:00: 300 to 500 mL/h, light pink, urology on call, a dwell of 30 min should there be one.</summary>
    private static Ward Written(Func<OrderSet, OrderSet>? more = null) =>
        Opens("18:00")
            .Checks("18:00")
            .Ordered(
                "18:00",
                o =>
                    (more ?? (same => same))(
                        o with
                        {
                            Order = "O-1",
                            Method = "continuous",
                            Solution = "sodium chloride 0.9 %",
                            AtLeast = Rate(300),
                            AtMost = Rate(500),
                            Target = "light pink",
                            Contact = "urology on call",
                            Dwell = Dwell,
                            OrderedBy = "Dr Invented",
                            OrderedHow = OrderedHow.Written,
                        }
                    )
            );

    /// <summary>The same entry, given by telephone and read back.</summary>
    private static OrderSet ByTelephone(OrderSet order) =>
        order with
        {
            OrderedBy = "Dr Made-Up",
            OrderedHow = OrderedHow.TelephoneReadBack,
        };

    private static FlowRate Rate(decimal millilitresPerHour) => FlowRate.FromMillilitresPerHour(millilitresPerHour);

    private static OrderInForce? InForce(Ward ward, string clock) => Orders.InForce(ward.Balance().Log, ward.At(clock));

    private static OrderSet Terms(Ward ward, string clock) => InForce(ward, clock)!.Terms;

    [Fact]
    public void A_rate_changed_by_telephone_leaves_target_contact_and_dwell_in_force()
    {
        var ward = Written().Ordered("20:15", o => ByTelephone(o) with { AtMost = Rate(400) });
        var (before, after) = (Terms(ward, "20:14"), Terms(ward, "20:15"));
        Assert.Equal((Rate(300), Rate(500)), (before.AtLeast, before.AtMost));
        Assert.Equal((Rate(300), Rate(400)), (after.AtLeast, after.AtMost));
        Assert.Equal(("light pink", "urology on call", Dwell), (after.Target, after.Contact, after.Dwell));
        Assert.Equal(("O-1", "continuous", "sodium chloride 0.9 %"), (after.Order, after.Method, after.Solution));
        Assert.Null(InForce(ward, "17:59"));
    }

    [Fact]
    public void Who_ordered_it_how_and_when_it_changed_is_told()
    {
        var ward = Written().Ordered("20:15", o => ByTelephone(o) with { AtMost = Rate(400) });
        Assert.Equal("ordered by Dr Invented, in writing", InForce(ward, "20:14")!.Given(Clock));
        Assert.Equal(
            "ordered by Dr Invented, in writing; changed 20:15 by Dr Made-Up, by telephone and read back",
            InForce(ward, "20:15")!.Given(Clock)
        );
        Assert.Null(InForce(Opens("18:00").Ordered("18:00", o => o), "18:00")!.Given(Clock)); // nobody said
        string Clock(Instant at) => LocalTimePattern.CreateWithInvariantCulture("HH:mm").Format(at.InUtc().TimeOfDay);
    }

    [Fact]
    public void An_end_of_the_range_that_the_other_crosses_holds_no_longer()
    {
        // 300 to 500, then at most 300: still a range, of one flow; then at most 299: nothing below is ordered any more
        var ward = Written().Ordered("20:00", o => o with { AtMost = Rate(300) }).Ordered("21:00", o => o with { AtMost = Rate(299) });
        Assert.Equal((Rate(300), Rate(300)), (Terms(ward, "20:00").AtLeast, Terms(ward, "20:00").AtMost));
        Assert.Equal((null, Rate(299)), (Terms(ward, "21:00").AtLeast, Terms(ward, "21:00").AtMost));
    }

    [Fact]
    public void A_flow_said_in_one_way_supersedes_the_one_said_in_the_other()
    {
        var ward = Written()
            .Ordered("19:00", o => o with { Amount = Ml(3000), Over = Duration.FromHours(12) }) // 250 mL/h
            .Ordered("20:00", o => o with { AtMost = Rate(200) });
        var (inTime, inRange) = (Terms(ward, "19:00"), Terms(ward, "20:00"));
        Assert.Equal((Ml(3000), null, null), (inTime.Amount, inTime.AtLeast, inTime.AtMost));
        Assert.Equal((null, null, null, Rate(200)), (inRange.Amount, inRange.Over, inRange.AtLeast, inRange.AtMost));
    }

    [Fact]
    public void From_a_flow_to_cycles_how_much_begins_anew_and_whom_to_call_stays()
    {
        var ward = Written()
            .Ordered("20:00", o => o with { Method = "intermittent-manual", Aliquot = Ml(50), TimesPerDay = 3 })
            .Ordered("21:00", o => o with { Method = "open" });
        var (cycles, open) = (Terms(ward, "20:00"), Terms(ward, "21:00"));
        Assert.Equal((null, null, null), (cycles.AtLeast, cycles.AtMost, cycles.Dwell));
        Assert.Equal(("light pink", "urology on call"), (cycles.Target, cycles.Contact));
        Assert.Equal((Ml(50), 3), (open.Aliquot, open.TimesPerDay)); // of cycles both: nothing begins anew
    }

    [Fact]
    public void What_replaces_leaves_nothing_in_force_that_it_does_not_say()
    {
        var ward = Written().Ordered("20:00", o => o with { Change = OrderChange.Replaces, AtMost = Rate(200) });
        var terms = Terms(ward, "20:00");
        Assert.Equal((null, null, null, null, Rate(200)), (terms.Target, terms.Contact, terms.Dwell, terms.AtLeast, terms.AtMost));
        Assert.Equal(ward.At("20:00"), InForce(ward, "21:00")!.Start);
    }

    [Fact]
    public void What_is_withdrawn_is_ordered_no_longer_and_a_change_after_it_begins_anew()
    {
        var ward = Written()
            .Ordered("20:00", o => o with { Change = OrderChange.Withdraws })
            .Ordered("21:00", o => o with { AtMost = Rate(200) });
        var log = ward.Balance().Log;
        Assert.NotNull(InForce(ward, "19:59"));
        Assert.Null(InForce(ward, "20:00"));
        Assert.Equal(ward.At("20:00"), Orders.Withdrawal(log, ward.At("20:59"))!.At);
        Assert.Equal("light pink", Orders.Latest(log, ward.At("20:59"))!.Terms.Target);
        Assert.Equal((null, Rate(200)), (Terms(ward, "21:00").Target, Terms(ward, "21:00").AtMost));
        Assert.Null(Orders.Withdrawal(log, ward.At("21:00")));
        Assert.Equal("No order is on record.", Orders.NoneSays(log, ward.At("18:00") - Duration.FromHours(1), _ => ""));
        Assert.Equal("The order was withdrawn at eight.", Orders.NoneSays(log, ward.At("20:30"), _ => "at eight"));
    }

    [Theory]
    [InlineData("O-1", true)]
    [InlineData("O-2", true)] // the change goes by it
    [InlineData(null, true)]
    [InlineData("O-3", false)] // of another one
    public void A_withdrawal_is_of_the_order_that_it_names(string? named, bool withdrawn)
    {
        var ward = Written()
            .Ordered("19:00", o => o with { Order = "O-2", AtMost = Rate(400) })
            .Ordered("20:00", o => o with { Order = named, Change = OrderChange.Withdraws });
        Assert.Equal(withdrawn, InForce(ward, "20:00") is null);
    }

    [Fact]
    public void A_withdrawal_of_what_was_replaced_leaves_what_replaced_it()
    {
        var ward = Written()
            .Ordered("20:00", o => o with { Order = "O-2", Change = OrderChange.Replaces, AtMost = Rate(200) })
            .Ordered("20:01", o => o with { Order = "O-1", Change = OrderChange.Withdraws });
        Assert.Equal(Rate(200), Terms(ward, "20:01").AtMost);
    }

    [Fact]
    public void Withdrawn_and_ordered_anew_in_one_minute_the_new_order_stands()
    {
        var ward = Written()
            .Ordered("20:00", o => o with { AtMost = Rate(200) })
            .Ordered("20:00", o => o with { Change = OrderChange.Withdraws });
        Assert.Equal((null, Rate(200)), (Terms(ward, "20:00").Contact, Terms(ward, "20:00").AtMost));
    }

    [Fact]
    public void A_change_made_in_error_restores_what_it_changed()
    {
        var changed = Written().Chart(new OrderSet(Opens("18:00").Header("20:00", id: "wrong")) { AtMost = Rate(50), Contact = "nobody" });
        Assert.Equal((Rate(50), "nobody"), (Terms(changed, "20:00").AtMost, Terms(changed, "20:00").Contact));
        var restored = Terms(changed.Withdraw("wrong", "20:30"), "20:00");
        Assert.Equal((Rate(300), Rate(500), "urology on call"), (restored.AtLeast, restored.AtMost, restored.Contact));
    }

    [Fact]
    public void In_whatever_order_they_arrive_the_same_is_in_force()
    {
        var ward = Written()
            .Ordered("19:00", o => o with { AtMost = Rate(400) })
            .Ordered("20:00", o => o with { Change = OrderChange.Withdraws })
            .Ordered("20:00", o => o with { Change = OrderChange.Replaces, Target = "clear" })
            .Ordered("21:00", o => o with { AtLeast = Rate(100) });
        foreach (var turned in Enumerable.Range(0, ward.Entries.Count))
        {
            var log = EpisodeLog
                .Empty(ward.Frame)
                .Append(ward.Entries.Skip(turned).Concat(ward.Entries.Take(turned)).Reverse(), ward.At("18:00"))
                .Log;
            foreach (var clock in new[] { "18:30", "19:00", "19:59", "20:00", "21:00" })
                Assert.Equal(Terms(ward, clock), Orders.InForce(log, ward.At(clock))!.Terms);
        }
    }

    [Theory]
    [InlineData(null, "22:00")] // a change of something else prolongs nothing
    [InlineData("23:00", "23:00")]
    [InlineData("21:30", "21:30")]
    public void Only_another_end_moves_the_end_of_an_order(string? until, string ends)
    {
        var ward = Written(o => o with { Until = Opens("18:00").At("22:00") });
        var end = until is null ? (Instant?)null : ward.At(until);
        Assert.Equal(ward.At(ends), Terms(ward.Ordered("20:00", o => o with { AtMost = Rate(400), Until = end }), "20:00").Ends);
    }

    [Fact]
    public void Days_are_counted_from_the_entry_that_said_them()
    {
        var ward = Written(o => o with { Days = 1 }).Ordered("20:00", o => o with { AtMost = Rate(400) });
        Assert.Equal(ward.At("+1 18:00"), Terms(ward, "20:00").Ends);
        Assert.Equal(ward.At("+3 21:00"), Terms(ward.Ordered("21:00", o => o with { Days = 3 }), "21:00").Ends);
    }

    [Fact]
    public void What_runs_is_compared_with_the_order_then_in_force()
    {
        var ward = Written()
            .Hangs("18:00", 3000, "sodium chloride 0.9 %")
            .Flow("18:00", 350)
            .Flow("19:00", 450)
            .Ordered("20:15", o => ByTelephone(o) with { AtMost = Rate(400) })
            .Flow("20:30", 401)
            .Flow("20:45", 400);
        Assert.Equal("20:15-20:45", ward.Flags("21:00").Stood("order-mismatch")); // at 20:15 450 runs, and at most 400 is ordered
        Assert.Equal("at most 400 mL/h is ordered and 401 mL/h runs.", ward.Flags("20:40").Says("order-mismatch"));
        Assert.Equal(
            [true, true, false, true],
            Titration.Of(ward.Balance().Log, "1", Instant.MinValue, ward.At("21:00")).Select(change => change.WithinOrder)
        );
    }

    [Fact]
    public void Irrigation_that_goes_on_after_the_order_was_withdrawn_is_told_at_once()
    {
        var ward = Written()
            .Hangs("18:00", 3000, "sodium chloride 0.9 %")
            .Flow("18:00", 350)
            .Ordered("20:00", o => o with { Change = OrderChange.Withdraws });
        Assert.Equal("the order was withdrawn at 20:00 and irrigation goes on.", ward.Flags("20:01").Says("order-mismatch"));
        Assert.Equal("20:00-20:05, 21:00-", ward.Flow("20:05", 0).Syringe("21:00", 50).Flags("21:00").Stood("order-mismatch"));
        Assert.Equal("the order was withdrawn at 20:00 and 50 mL was given at 21:00.", ward.Flags("21:00").Says("order-mismatch"));
    }

    [Fact]
    public void An_order_whose_rate_was_changed_expires_when_it_was_to()
    {
        var ward = Written(o => o with { Until = Opens("18:00").At("21:00") })
            .Hangs("18:00", 3000, "sodium chloride 0.9 %")
            .Flow("18:00", 350)
            .Ordered("20:15", o => ByTelephone(o) with { AtMost = Rate(400) });
        Assert.Equal("", ward.Flags("20:59").Stood("order-mismatch"));
        Assert.Equal("the order expired at 21:00 and irrigation goes on.", ward.Flags("21:00").Says("order-mismatch"));
        Assert.Equal("21:00-21:10", ward.Ordered("21:10", o => o with { Until = ward.At("23:00") }).Flags("21:30").Stood("order-mismatch"));
    }

    [Fact]
    public void Stopped_by_the_minute_of_the_withdrawal_nothing_differs() =>
        Assert.Equal(
            "",
            Written()
                .Hangs("18:00", 3000, "sodium chloride 0.9 %")
                .Flow("18:00", 350)
                .Ordered("20:00", o => o with { Change = OrderChange.Withdraws })
                .Flow("20:00", 0)
                .Flags("23:00")
                .Stood("order-mismatch")
        );

    [Fact]
    public void An_aliquot_is_held_against_what_was_ordered_when_it_was_given()
    {
        var ward = Opens("18:00")
            .Checks("18:00")
            .Ordered("18:00", o => o with { Method = "intermittent-manual", Amount = Ml(50) })
            .Syringe("18:10", 60)
            .Ordered("19:00", o => o with { Contact = "urology on call" }); // says nothing of the amount
        Assert.Equal("18:10-", ward.Flags("19:30").Stood("order-mismatch"));
        Assert.Equal("18:10-19:40", ward.Ordered("19:40", o => o with { Amount = Ml(55) }).Flags("20:00").Stood("order-mismatch"));
    }

    [Fact]
    public void A_dwell_is_overrun_though_the_rate_was_changed_or_the_order_ended_meanwhile()
    {
        var ward = Written().Syringe("18:59", 50).Clamp("19:00");
        Assert.Equal("19:30-", ward.Ordered("19:10", o => o with { AtMost = Rate(400) }).Flags("19:30").Stood("dwell-overrun"));
        var withdrawn = ward.Ordered("19:20", o => o with { Change = OrderChange.Withdraws });
        Assert.Equal("", withdrawn.Flags("19:29").Stood("dwell-overrun"));
        Assert.Equal("19:30-", withdrawn.Flags("19:30").Stood("dwell-overrun"));
    }

    [Fact]
    public void The_next_dose_is_due_by_the_last_one_though_something_else_was_changed()
    {
        // three times a day, the last at 19:00: due at 03:00; at 20:00 four times: 01:00; another drug: six hours from its order
        var ward = Opens("08:00")
            .Ordered("08:00", o => o with { Method = "instillation-dwell", Amount = Ml(50), TimesPerDay = 3, Additive = "drug one" })
            .Syringe("19:00", 50);
        Assert.Equal(ward.At("+1 03:00"), Due("19:30"));
        ward.Ordered("19:30", o => o with { Contact = "urology on call" });
        Assert.Equal(ward.At("+1 03:00"), Due("19:30"));
        ward.Ordered("20:00", o => o with { TimesPerDay = 4 });
        Assert.Equal(ward.At("+1 01:00"), Due("20:00"));
        ward.Ordered("21:00", o => o with { Additive = "drug two" });
        Assert.Equal(ward.At("+1 03:00"), Due("21:00"));
        ward.Ordered("22:00", o => o with { Change = OrderChange.Withdraws });
        Assert.Null(Due("22:00"));
        Instant? Due(string clock) => NextIrrigation.Of(ward.Balance(), ward.At(clock))?.Due;
    }

    [Fact]
    public void A_dose_is_never_due_before_it_was_ordered()
    {
        // once a day from 08:00 on, none given; four times a day at 20:00: due at once, and not since 14:00
        var ward = Opens("08:00")
            .Ordered("08:00", o => o with { Method = "open", TimesPerDay = 1 })
            .Ordered("20:00", o => o with { TimesPerDay = 4 });
        Assert.Equal(ward.At("20:00"), NextIrrigation.Of(ward.Balance(), ward.At("20:00"))!.Due);
    }

    [Fact]
    public void What_to_count_is_as_set_until_the_flow_is_ordered_anew()
    {
        // 20 drops/mL: 400 mL/h are 133 drops/min; 240 mL/h 80
        var ward = Written(o => o with { DropFactor = new DropFactor(20) })
            .Hangs("18:00", 3000, "sodium chloride 0.9 %")
            .Flow("19:00", 400)
            .Ordered("20:00", o => o with { Contact = "urology on call" });
        Assert.Equal((false, 133m), Counts("20:00"));
        ward.Ordered("21:00", o => o with { Amount = Ml(2400), Over = Duration.FromHours(10) });
        Assert.Equal((true, 80m), Counts("21:00"));
        (bool, decimal?) Counts(string clock)
        {
            var drip = LineDrip.Of(ward.Balance(), "1", ward.At(clock))!;
            return (drip.IsOrdered, drip.Drip.ToCount[0].Drops);
        }
    }

    [Theory]
    [InlineData(OrderedHow.Telephone, false)]
    [InlineData(OrderedHow.TelephoneReadBack, true)]
    [InlineData(OrderedHow.Verbal, null)]
    [InlineData(OrderedHow.Written, null)]
    public void The_record_asks_for_the_read_back_of_a_telephone_order(OrderedHow how, bool? recorded)
    {
        var now = Written().Ordered("20:00", o => o with { OrderedHow = how, AtMost = Rate(400) }).Flags("20:30").Now;
        Assert.Equal(recorded, CompleteRecord.Of(now).SingleOrDefault(item => item.Name == "read-back of the telephone order")?.IsRecorded);
        Assert.True(CompleteRecord.Of(now).Single(item => item.Name == "order: target").IsRecorded);
    }

    [Fact]
    public void Days_of_a_drug_go_on_while_something_else_is_changed()
    {
        var limits = FlagLimits.Default with { Flags = FlagSettings.Default with { NeomycinDays = Duration.FromHours(3) } };
        var ward = Written(o => o with { Additive = "neomycin-polymyxin" })
            .Hangs("18:00", 3000, null)
            .Flow("18:00", 350)
            .Ordered("20:00", o => o with { AtMost = Rate(400) });
        Assert.Equal("", ward.Flags("20:59", limits: limits).Stood("medicated-limit"));
        Assert.Equal("21:00-", ward.Flags("21:00", limits: limits).Stood("medicated-limit"));
    }
}
