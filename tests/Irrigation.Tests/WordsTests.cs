using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using Irrigation.Runs;

namespace Irrigation.Tests;

/// <summary>What has a code has words; and an amount is said as it is read. </summary>
public class WordsTests
{
    [Theory]
    [InlineData("2666.7", "2,670 mL")]
    [InlineData("999.4", "999 mL")]
    [InlineData("999.5", "1,000 mL")]
    [InlineData("3000", "3,000 mL")]
    [InlineData("76.65", "77 mL")]
    [InlineData("9.94", "9.9 mL")]
    [InlineData("9.95", "10 mL")]
    [InlineData("5.4", "5.4 mL")]
    [InlineData("-0.04", "0 mL")]
    [InlineData("-1234.5", "-1,230 mL")]
    [InlineData("2.5", "2.5 mL")]
    [InlineData("12.5", "13 mL")] // half away from zero
    public void A_volume_is_said_as_it_is_read(string millilitres, string said) =>
        Assert.Equal(
            said,
            Volume.FromMillilitres(decimal.Parse(millilitres, System.Globalization.CultureInfo.InvariantCulture)).ToString()
        );

    [Theory]
    [InlineData("41.66", "41.7 mL/h")] // the label's 41.7
    [InlineData("99.95", "100 mL/h")]
    [InlineData("312.4", "312 mL/h")]
    [InlineData("1500", "1,500 mL/h")]
    public void A_flow_is_said_as_it_is_set(string perHour, string said) =>
        Assert.Equal(
            said,
            FlowRate.FromMillilitresPerHour(decimal.Parse(perHour, System.Globalization.CultureInfo.InvariantCulture)).ToString()
        );

    [Fact]
    public void A_rate_by_weight_has_two_decimals_and_a_range_its_unit_once()
    {
        Assert.Equal(
            ("0.5", "0.36", "1.0"),
            (AsRead.Number(0.5m, "mL/kg/h"), AsRead.Number(0.357m, "mL/kg/h"), AsRead.Number(1, "mL/kg/h"))
        );
        Assert.Equal("-63 to 1,150 mL", AsRead.Range(new(Volume.FromMillilitres(-63.2m), Volume.FromMillilitres(1153))));
    }

    [Fact]
    public void Whatever_has_a_code_has_plain_words() =>
        Assert.All(
            Enum.GetValues<Caveat>()
                .Select(Words.Of)
                .Concat(Enum.GetValues<Obstacle>().SelectMany(obstacle => new[] { Words.Of(obstacle), Words.Needs(obstacle) }))
                .Concat(Enum.GetValues<AbsentReason>().Select(Words.Of))
                .Concat(Enum.GetValues<Answer>().Select(Words.Of))
                .Concat(Enum.GetValues<OutputStatus>().Select(Words.Of))
                .Concat(Enum.GetValues<StopReason>().Select(Words.Of))
                .Concat(Enum.GetValues<TrialEnd>().Select(Words.Of))
                .Concat(Enum.GetValues<AliquotMark>().Select(Words.Of))
                .Concat(Enum.GetValues<AgeGroup>().Select(Words.Of))
                .Concat(Enum.GetValues<DripCaveat>().Select(caveat => DripWords.Of(caveat, new DropFactor(13))))
                .Concat(EntryKinds.All.Select(Words.Of))
                .Concat(FlagRules.All.Select(rule => FlagRules.InWords(rule.Slug)))
                .Concat(FlagRules.All.SelectMany(rule => new[] { rule.Title, rule.Caution }))
                .Concat(FlagRules.Precedence.Select(first => first.Because))
                .Concat(
                    new[] { "kdigo", "prifle", "neonatal-kdigo", "oliguria", "intermittent-manual", "instillation-dwell" }.Select(Words.Of)
                ),
            words => Assert.Empty(PlainWords.Faults(words))
        );

    [Theory]
    [InlineData("the irrigant is irrigant-not-read-yet")]
    [InlineData("container-full 1")]
    [InlineData("2666.7 mL ran in")]
    [InlineData("2666 mL ran in")]
    [InlineData("76.7 mL came")]
    [InlineData("grade 4 on a scale at 10:00. Grade 4 on a scale at 10:00.\nGrade 4 on a scale at 10:00.")]
    [InlineData("one two three four five six seven eight nine ten a b c d e f g h i j k l m n o p q")]
    [InlineData("its doubts are not known")]
    public void What_is_not_plain_is_found(string text) => Assert.NotEmpty(PlainWords.Faults(text));
}
