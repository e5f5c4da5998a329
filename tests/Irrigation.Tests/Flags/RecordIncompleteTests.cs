using Irrigation.Episodes;
using Irrigation.Flags;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Flags;

/// <summary>
/// F19: what the record needs is missing, by name, from an hour after the irrigation began (clinical reference 8; what counts is our
/// judgement).
/// </summary>
public class RecordIncompleteTests
{
    private const string Slug = "record-incomplete";

    private static readonly PatientFacts Known = Story.Adult with { CatheterType = new("three-way", 22, 3) };

    /// <summary>A record with all that is always needed.</summary>
    private static Ward Complete()
    {
        var ward = Opens("18:00")
            .Checks("18:00")
            .Weighs("18:00", 70)
            .Feels("18:00", distended: false)
            .Bears("18:00")
            .Ordered(
                "18:00",
                o =>
                    o with
                    {
                        Order = "order-1",
                        Method = "continuous",
                        Solution = "sodium chloride 0.9 %",
                        AtMost = Measures.FlowRate.FromMillilitresPerHour(600),
                        Target = "clear pink",
                    }
            )
            .Hangs("18:00", 3000, "sodium chloride 0.9 %")
            .Flow("18:00", 500);
        ward.Chart(new DrainageAppearance(ward.Header("18:10"), "five grades", 2, "pink", "clear", "none", false, false, null));
        return ward.Chart(new DrainageLevelRead(ward.Header("18:30") with { Performer = "nurse N" }, "1", Ml(250)));
    }

    [Fact]
    public void A_complete_record_is_not_flagged_and_each_item_is_missed_by_its_name()
    {
        Assert.Equal("", Complete().Flags("19:30", Known).Stood(Slug));
        Assert.Equal("missing: catheter: type, size, lumens.", Complete().Flags("19:00").Says(Slug));
        Assert.Equal("missing: encounter.", Complete().Flags("19:00", Known with { HasEncounter = false }).Says(Slug));
        Assert.Equal("missing: date of birth.", Complete().Flags("19:00", Known with { Patient = Story.OfUnknownAge.Patient }).Says(Slug));
    }

    [Fact]
    public void It_waits_an_hour_for_the_record_and_is_cleared_item_by_item()
    {
        var ward = Complete();
        Assert.Equal("", ward.Flags("18:59").Stood(Slug));
        Assert.Equal("19:00-", ward.Flags("19:00").Stood(Slug));
        Assert.Equal("19:00-19:20", ward.Chart(new CatheterInserted(ward.Header("19:20"), "three-way", 22, 3)).Flags("19:30").Stood(Slug));
    }

    [Fact]
    public void A_dwell_a_washout_and_a_deficit_ask_for_more()
    {
        Assert.Equal("missing: ordered dwell.", Complete().Flow("18:40", 0).Clamp("18:40").Bears("18:50").Flags("19:05", Known).Says(Slug));
        var ward = Complete();
        Assert.Equal(
            "missing: washout: cycles.",
            ward.Chart(new WashoutPerformed(ward.Header("18:40"), null, true)).Flags("19:00", Known).Says(Slug)
        );
        var held = Complete().Scan("18:45", 300);
        Assert.Equal("missing: action taken and who was told.", held.Flags("19:00", Known).Says(Slug));
        Assert.Equal("19:00-19:10", held.Calls("19:10").Flags("19:20", Known).Stood(Slug));
    }

    [Fact]
    public void Not_assessed_counts_as_charted_and_blank_does_not()
    {
        var ward = Opens("18:00").BagHung("18:00", 3000).Flow("18:00", 500);
        ward.Chart(new DrainageAppearance(ward.Header("18:10"), null, null, "pink", null, "not-assessed", null, null, null));
        var says = ward.Flags("19:00", Known).Says(Slug);
        Assert.DoesNotContain("clots", says, StringComparison.Ordinal);
        Assert.Contains("Drainage: clarity, mucus", says, StringComparison.Ordinal);
    }

    [Fact]
    public void Before_anything_is_irrigated_nothing_is_asked_for() =>
        Assert.Equal("", Opens("18:00").UrineHourly("18:00", 50, 50).Flags("21:00").Stood(Slug));
}
