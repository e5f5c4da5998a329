using Irrigation.Episodes;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F21: from the third day of a catheter its indication is reviewed daily; an opened system is told (NHSN, from memory; the hour is our
/// judgement; clinical reference 7 and 9).
/// </summary>
public class CatheterReviewTests
{
    private const string Slug = "catheter-review";

    private static Ward Inserted()
    {
        var ward = Opens("18:00");
        return ward.Chart(new CatheterInserted(ward.Header("18:30"), "three-way", 22, 3));
    }

    private static Ward Reviewed(Ward ward, string clock) => ward.Chart(new IndicationReviewed(ward.Header(clock), "bleeding", true));

    [Fact]
    public void Due_at_noon_of_the_third_day_by_the_calendar()
    {
        Assert.Equal("", Inserted().Flags("+2 11:59").Stood(Slug)); // 14 Mar is day 1, 16 Mar day 3
        Assert.Equal("12:00-", Inserted().Flags("+2 12:00").Stood(Slug));
        Assert.Equal(
            "day 3 or later of the catheter inserted 14 Mar 18:30, and its indication was not reviewed on record.",
            Inserted().Flags("+2 12:00").Says(Slug)
        );
    }

    [Fact]
    public void Reviewed_today_it_is_due_tomorrow_and_a_standing_one_waits_for_no_hour()
    {
        Assert.Equal("", Reviewed(Inserted(), "+2 09:00").Flags("+3 11:59").Stood(Slug));
        Assert.Equal("12:00-", Reviewed(Inserted(), "+2 09:00").Flags("+3 12:00").Stood(Slug));
        // from the 16th at noon to the 17th at 08:00
        Assert.Equal("12:00-08:00", Reviewed(Inserted(), "+3 08:00").Flags("+3 11:00").Stood(Slug));
    }

    [Fact]
    public void A_catheter_that_was_there_before_counts_and_one_that_is_out_does_not()
    {
        var before = Story.Adult with { CatheterInserted = Opens("18:00").At("18:00") - Duration.FromDays(2) };
        Assert.Equal("18:00-", Opens("18:00").Bears("18:00").Flags("18:00", before).Stood(Slug)); // the third day at 18:00, past noon
        var ward = Inserted();
        Assert.Equal("", ward.Chart(new CatheterRemoved(ward.Header("+1 08:00"))).Flags("+4 08:00").Stood(Slug));
        Assert.Equal("", Opens("18:00").Flags("+4 08:00").Stood(Slug)); // nobody charted one
    }

    [Fact]
    public void An_opened_system_is_told_for_a_shift()
    {
        var ward = Inserted();
        ward.Chart(new ClosedSystemOpened(ward.Header("20:00"), "manual washout"));
        Assert.Equal("20:00-08:00", ward.Flags("+1 09:00").Stood(Slug));
        Assert.Equal("the closed system was opened at 20:00: manual washout.", ward.Flags("21:00").Says(Slug));
    }

    [Fact]
    public void A_break_of_the_closed_system_ends_with_its_complete_exchange()
    {
        Ward Opened() => Inserted() is var ward ? ward.Chart(new ClosedSystemOpened(ward.Header("20:00"), "disconnected")) : ward;
        Ward Exchanged(Ward ward, string clock) => ward.Chart(new CatheterInserted(ward.Header(clock), "three-way", 22, 3));
        Assert.Equal("20:00-21:00", Exchanged(Opened(), "21:00").Flags("+1 09:00").Stood(Slug));
        Assert.Equal("20:00-08:00", Exchanged(Opened(), "19:59").Flags("+1 09:00").Stood(Slug)); // before it: the new system was opened
        Assert.Equal("20:00-08:00", Exchanged(Opened(), "20:00").Flags("+1 09:00").Stood(Slug)); // which came first nobody knows

        var again = Exchanged(Opened(), "21:00");
        Assert.Equal("20:00-21:00, 22:00-", again.Chart(new ClosedSystemOpened(again.Header("22:00"), null)).Flags("23:00").Stood(Slug));
        Assert.Equal("20:00-08:00", Opened() is var w ? w.Chart(new CatheterRemoved(w.Header("21:00"))).Flags("+1 09:00").Stood(Slug) : "");
    }

    [Fact]
    public void A_review_charted_late_retracts_it()
    {
        var ward = Inserted();
        var (after, _) = ward.Later(
            ward.Flags("+2 13:00"),
            w => new IndicationReviewed(w.Header("+2 08:00", recordedAt: "+2 13:00", id: "late"), "bleeding", true)
        );
        Assert.Equal("", after.Stood(Slug));
    }
}
