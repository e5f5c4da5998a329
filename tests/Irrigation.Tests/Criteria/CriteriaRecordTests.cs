using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using NodaTime;
using static Irrigation.Tests.Ward;

namespace Irrigation.Tests.Criteria;

/// <summary>When the answers of the criteria change, and from when to when a criterion was met.</summary>
public class CriteriaRecordTests
{
    private static readonly Patient Adult = new(new(1950, 5, 1), DateTimeZone.Utc);

    [Fact]
    public void An_answer_is_told_when_it_begins_and_not_again_while_it_holds()
    {
        // 20 mL an hour of 80 kg, 0.25 mL/kg/h, from 00:00 to 09:00; then 300 mL in the tenth hour: 400 mL in six, 0.83.
        var ward = Opens("00:00").Weighs("00:00", 80).UrineHourly("00:00", 20, 20, 20, 20, 20, 20, 20, 20, 20, 300);
        var history = Of(ward).Histories["kdigo-1"];

        Assert.Equal(
            [(ward.At("06:00"), Answer.Met), (ward.At("10:00"), Answer.NotMet)],
            history.Answers.Select(judgement => (judgement.At, judgement.Result.Answer))
        );
        Assert.Equal([(ward.At("06:00"), ward.At("10:00"))], history.Met(judgement => judgement.Result));
        Assert.Equal([(ward.At("06:00"), ward.At("10:00"))], history.Met(judgement => judgement.ByTheHour));
    }

    [Fact]
    public void What_only_time_can_bring_is_not_told_and_what_somebody_can_chart_is()
    {
        // Seven hours and nobody weighed: a window of six lacks a weight, those of 12 and 24 lack time.
        var ward = Opens("00:00").UrineHourly("00:00", 20, 20, 20, 20, 20, 20, 20);

        var told = Of(ward).Histories;
        Assert.Equal(["kdigo-1", "low-hourly-output"], told.Keys);
        Assert.Equal(Obstacle.WeightUnknown, Assert.Single(told["kdigo-1"].Current.Result.Obstacles));
        Assert.Equal(ward.At("06:00"), told["kdigo-1"].Current.At);
    }

    [Theory]
    [InlineData(false)]
    [InlineData(true)] // whatever was judged is forgotten now and then, and what was told is remembered
    public void In_whatever_order_readings_arrive_the_same_is_told(bool recalls)
    {
        var random = new Random(20260314);
        for (var night = 0; night < Times(60); night++)
        {
            var ward = Opens("00:00").Weighs("00:00", random.Next(40, 120));
            foreach (var hour in Enumerable.Range(1, 20).Where(_ => random.Next(5) > 0))
            {
                var clock = $"{hour:00}:{random.Next(60):00}";
                ward = ward.Urine(clock, random.Next(4) == 0 ? random.Next(200) : random.Next(40));
            }

            if (random.Next(2) == 0)
                ward = ward.Weighs("09:30", random.Next(40, 120));
            var entries = ward.Entries.ToArray();
            random.Shuffle(entries);

            var balance = FluidBalance.Of(EpisodeLog.Empty(ward.Frame), BalanceSettings.Default);
            var record = CriteriaRecord.Of(balance, Adult, CriteriaSettings.Default, 0.7);
            foreach (var batch in entries.Chunk(1 + random.Next(4)))
            {
                if (recalls && random.Next(3) == 0)
                    record = CriteriaRecord.Recalled(record.Histories.Values, CriteriaSettings.Default, 0.7);
                var appended = balance.Log.Append(batch, ward.At("23:59"));
                (balance, var changes) = balance.After(appended);
                var weighed = WeightReach.Of(balance, Adult, appended.Changes, CriteriaSettings.Default);
                record = record.After(balance, Adult, changes, weighed);
            }

            Assert.Equal(Told(CriteriaRecord.Of(balance, Adult, CriteriaSettings.Default, 0.7)), Told(record));
        }
    }

    [Fact]
    public void Where_nothing_of_a_criterion_was_judged_anew_its_history_is_the_very_same()
    {
        var ward = Opens("00:00").Weighs("00:00", 80).UrineHourly("00:00", 20, 20, 20, 20, 20, 20, 20, 20);
        var (before, record) = (ward.Balance(), Of(ward));
        var (after, changes) = before.After(before.Log.Append([.. ward.Urine("09:00", 20).Entries], ward.At("09:00")));

        Assert.Empty(CriteriaRecord.Changes(record, record.After(after, Adult, changes, [])));
    }

    private static CriteriaRecord Of(Ward ward) => CriteriaRecord.Of(ward.Balance(), Adult, CriteriaSettings.Default, 0.7);

    private static IEnumerable<string> Told(CriteriaRecord record) =>
        record.Histories.Values.SelectMany(history =>
            history.Answers.Select(judgement =>
                $"{history.Slug} {judgement.At} {judgement.Status} {judgement.SaysNothing} {judgement.Result.Answer} "
                + $"{judgement.Result.Value} {string.Join(' ', judgement.Result.Obstacles)} "
                + $"{judgement.ByTheHour?.Answer} {judgement.ByTheHour?.Probability}"
            )
        );
}
