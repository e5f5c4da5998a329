using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Tests.Flags;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Criteria;

/// <summary>A reading that cannot be right answers no criterion and raises no flag of one until a person confirms or corrects it.</summary>
public class DoubtedReadingTests
{
    private static readonly Patient Adult = new(new(1950, 5, 1), DateTimeZone.Utc);

    /// <summary>
    /// 60 mL/h run in and 80 are emptied each hour: 20 mL of urine, by 70 kg 0.29 mL/kg/h. The fourth may be other than 80.
    /// </summary>
    private static Ward Hours(decimal fourth)
    {
        var ward = Opens("00:00").Weighs("00:00", 70).BagHung("00:00", 3000).Flow("00:00", 60);
        for (var hour = 1; hour <= 6; hour++)
            ward.Emptied($"0{hour}:00", hour == 4 ? fourth : 80, id: $"at {hour}");
        return ward;
    }

    private static CriterionResult Stage1(Ward ward) =>
        UrineOutputCriteria
            .At(ward.Balance(Exact), Adult, ward.At("06:00"), CriteriaSettings.Default)
            .Single(r => r is { Stage: 1, Reading: Reading.MeanOverWindow });

    private static Ward Confirmed(Ward ward) => ward.Chart(new ReadingConfirmed(ward.Header("06:00"), new("ward", "at 4")));

    [Fact]
    public void A_hundred_times_too_much_answers_nothing()
    {
        Assert.Equal((Answer.Met, 1), (Stage1(Hours(80)).Answer, Stage1(Hours(80)).Probability));
        var slip = Stage1(Hours(8000));
        Assert.Equal((Answer.NotEvaluable, null), (slip.Answer, slip.Probability));
        Assert.Equal([Obstacle.Doubted], slip.Obstacles.ToArray());
        Assert.Equal((5 * 20) + 7940, Math.Round(slip.Value!.Value * 70 * 6)); // shown, and not judged
    }

    [Fact]
    public void Confirmed_it_answers_like_any_other_and_corrected_it_is_another()
    {
        Assert.Equal(Answer.NotMet, Stage1(Confirmed(Hours(8000))).Answer);
        var ward = Hours(8000);
        var slip = ward.Entries.OfType<DrainageEmptied>().Single(e => e.Drained == Ml(8000));
        Assert.Equal(Answer.Met, Stage1(ward.Chart(slip with { Drained = Ml(80) })).Answer);
    }

    [Fact]
    public void No_flag_is_raised_by_it_and_each_asks_for_the_reading()
    {
        // 8040 mL of urine in 6 h would be much in a day already.
        const string Needs = "the doubted reading confirmed or corrected";
        var record = Hours(8000).Exactly("06:00");
        Assert.Equal(
            ("stage 1: cannot be said. A reading is doubted, and nobody has confirmed or corrected it yet", Needs),
            record.Undecided("urine-output-criterion")
        );
        Assert.Contains(Needs, record.Undecided("polyuria").Needs, StringComparison.Ordinal);
        Assert.Equal("06:00-", Hours(80).Exactly("06:00").Stood("urine-output-criterion"));
    }

    [Fact]
    public void A_flag_that_stood_before_goes_on_standing_and_says_why_nobody_can_tell()
    {
        var ward = Hours(80).Emptied("07:00", 8000);
        var record = ward.Exactly("07:00");
        Assert.Equal("06:00-", record.Stood("urine-output-criterion"));
        Assert.Equal(
            "it stands since 06:00, and whether it has ended cannot be told. Stage 1: cannot be said. "
                + "A reading is doubted, and nobody has confirmed or corrected it yet. Needs the doubted reading confirmed or corrected.",
            record.Says("urine-output-criterion")
        );
    }
}
