using System.Collections.Immutable;
using System.Globalization;
using System.Text.RegularExpressions;
using CsvHelper;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Measures;
using NodaTime;
using static Irrigation.Tests.Ward;
using Calendar = Irrigation.Balance.Calendar;

namespace Irrigation.Tests;

/// <summary>
/// Every worked example of published.csv, worked by the product and rounded as it is printed there. The table names each source.
/// </summary>
/// <remarks>
/// Where an example is of fluid that the product keeps no account of (food, drink, infusions, vomit, blood), its sum is of
/// <see cref="Volume"/> alone, and the story says so.
/// </remarks>
public class PublishedTests
{
    /// <summary>A line of the table.</summary>
    public sealed record Row(
        string Id,
        string Kind,
        string Inputs,
        string Expected,
        string Unit,
        string Note,
        string Source,
        string Quality
    );

    private static readonly ImmutableDictionary<string, Row> Table = Read().ToImmutableDictionary(row => row.Id);

    public static TheoryData<string> Ids => [.. Table.Keys.Order(StringComparer.Ordinal)];

    [Theory]
    [MemberData(nameof(Ids))]
    public void The_product_comes_to_the_published_answer(string id)
    {
        var row = Table[id];
        var expected = row.Expected.Split(';').Select(number => decimal.Parse(number, CultureInfo.InvariantCulture)).ToArray();
        var decimals = expected.Max(number => number.Scale);
        Assert.Equal(expected, Worked(row).Select(number => Math.Round(number, decimals, MidpointRounding.AwayFromZero)));
    }

    [Fact]
    public void Every_line_names_its_source_and_its_quality() =>
        Assert.All(Table.Values, row => Assert.True(row.Source.Length > 0 && row.Quality is "A" or "B" or "C" or "B/C", row.Id));

    [Fact] // W26: the total of all outputs is not urine
    public void W26_urine_and_total_output_are_two_rates()
    {
        var weight = new WeightInForce(new(70, WeightKind.Actual), Opens("07:00").At("07:00"), null);
        decimal Rate(decimal ml) => UrineRate.Of(Ml(ml), Duration.FromHours(8), weight).PerKilogramHour!.Value;
        Assert.Equal(1.125m, Rate(Bag150To780()));
        Assert.Equal(1.64m, Math.Round(Rate(Bag150To780() + 200 + 90), 2));
    }

    private static IEnumerable<decimal> Worked(Row row) =>
        row.Kind switch
        {
            "corrected-output" => [CorrectedOutput(row)],
            "irrigation-rate" => [Flow(row.Inputs).MillilitresPerHour],
            "drip-rate" => [Flow(row.Inputs).ToDropsPerMinute(new(Number(row.Inputs, "drops/mL")))],
            "rate-per-weight" => [RatePerWeight(row.Inputs)],
            "total-output" => [Bag150To780()],
            "intake" => [Intake(row)],
            "balance" => [(Ml(1500) + Ml(50) + Ml(50) - (Ml(500) + Ml(120))).Millilitres], // W30: theatre fluids, of Volume alone
            "apportioned" => Apportioned(),
            _ => throw new ArgumentOutOfRangeException(nameof(row), row.Kind, $"{row.Id} has no computation"),
        };

    private static decimal CorrectedOutput(Row row) =>
        row.Id switch
        {
            "W4" => Headline(Opens("07:00").Flow("07:00", 50).Flow("12:00", 0).Emptied("15:00", 925)),
            "W6" => KnownAtNoon(),
            "W7" => CalibratedBagAndCanister(),
            _ => Headline(
                Opens("08:00")
                    .BagHung("08:00", Number(row.Inputs, "mL;"))
                    .BagTakenDown("14:00", 0)
                    .Emptied("14:00", Number(row.Inputs, "mL$"))
            ),
        };

    private static decimal Headline(Ward ward) => ward.Balance()[FluidBalance.Bladder].Single().Output!.Headline.Millilitres;

    private static decimal KnownAtNoon()
    {
        var ward = Opens("10:00").Instilled("11:00", 50).Emptied("11:00", 150).Urine("11:30", 40, recordedAt: "13:00");
        return FluidBalance
            .Of(ward.Balance().Log.KnownAt(ward.At("12:00")), BalanceSettings.Default)[FluidBalance.Bladder]
            .Sum()
            .Millilitres;
    }

    private static decimal CalibratedBagAndCanister()
    {
        var calibrated = MeasuringCharacters.Default with
        {
            EmptyBagResidue = new(0, 0),
            CalibratedBagTypes = ImmutableSortedDictionary<string, Calibration>.Empty.Add("3 L", new(3115.3m / 3000, 0)),
            CalibratedContainers = ImmutableSortedDictionary<string, Calibration>.Empty.Add("1", new(2750m / 3000, 0)),
        };
        var ward = Opens("08:00");
        ward.Chart(new Episodes.BagHung(ward.Header("08:00"), "1", Ml(3000), null, "3 L", null, Ml(0)))
            .BagTakenDown("14:00", 0)
            .Emptied("14:00", 3000);
        var output = ward.Balance(calibrated)[FluidBalance.Bladder].Single().Output!;
        Assert.Equal(Ml(0), output.Headline); // what the marks say
        return output.BestEstimate!.Value.Value.Millilitres;
    }

    private static FlowRate Flow(string inputs) =>
        inputs.Contains("mL/h", StringComparison.Ordinal)
            ? FlowRate.FromMillilitresPerHour(Number(inputs, "mL/h"))
            : FlowRate.Of(Ml(Number(inputs, "mL in")), Time(inputs));

    private static decimal RatePerWeight(string inputs) =>
        UrineRate
            .Of(Ml(Number(inputs, "mL in")), Time(inputs), new(new(Number(inputs, "kg"), WeightKind.Actual), Instant.MinValue, null))
            .PerKilogramHour!.Value;

    private static Duration Time(string inputs) =>
        inputs.Contains(" min", StringComparison.Ordinal)
            ? Duration.FromMinutes((double)Number(inputs, "min"))
            : Duration.FromHours((double)Number(inputs, "h"));

    /// <summary>Emesis and what comes out of a wound drain are no urine.</summary>
    private static decimal Bag150To780() => Headline(Opens("07:00").Level("07:00", 150).Level("15:00", 780));

    private static decimal Intake(Row row) =>
        row.Id switch
        {
            "W29" => (Ml(180) + Ml(120) + Ml(240) + Ml(240) + Ml(360)).Millilitres, // drinks and an infusion, of Volume alone
            "W32" => FedInTheNight(),
            _ => throw new ArgumentOutOfRangeException(nameof(row), row.Id, "has no computation"),
        };

    /// <summary>Feeds are no matter of the product; the shift that crosses midnight is.</summary>
    private static decimal FedInTheNight()
    {
        var ward = Opens("00:00");
        var night = Calendar.Windows(WindowKind.Shift, ward.Frame, ward.At("23:00"), ward.At("23:30")).Single();
        Assert.Equal((ward.At("23:00"), ward.At("+1 07:00")), (night.Start, night.End));
        // 04:00 to 24:00, today and tomorrow.
        var feeds = Enumerable.Range(1, 12).Select(fourHours => ward.At("00:00") + Duration.FromHours(4 * fourHours));
        return feeds.Where(night.Contains).Aggregate(Volume.Zero, (sum, _) => sum + Ml(300) + Ml(100)).Millilitres;
    }

    private static IEnumerable<decimal> Apportioned()
    {
        var ward = Opens("09:00").Urine("12:00", 300);
        return [.. new[] { "09:00", "10:00", "11:00" }.Select(hour => ward.Hour(hour).Output!.Headline.Millilitres)];
    }

    /// <summary>The number that stands before a unit.</summary>
    private static decimal Number(string inputs, string unit) =>
        decimal.Parse(Regex.Match(inputs, $@"([\d.]+) {unit}(?![\w/])").Groups[1].Value, CultureInfo.InvariantCulture);

    private static List<Row> Read()
    {
        using var csv = CsvReader.Create(typeof(PublishedTests).Assembly.GetManifestResourceStream("published.csv")!);
        var rows = new List<Row>();
        csv.ReadHeader();
        while (csv.Read())
        {
            rows.Add(
                new(
                    csv.GetString("id"),
                    csv.GetString("kind"),
                    csv.GetString("inputs"),
                    csv.GetString("expected"),
                    csv.GetString("unit"),
                    csv.GetString("note"),
                    csv.GetString("source"),
                    csv.GetString("quality")
                )
            );
        }

        return rows;
    }
}
