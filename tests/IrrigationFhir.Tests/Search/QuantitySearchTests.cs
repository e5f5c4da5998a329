using Hl7.Fhir.Model;
using IrrigationFhir.Tests.Rest;
using static IrrigationFhir.Tests.Store.StoreOnDisk;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Search;

/// <summary>R-SRCH-06 and R-SRCH-08: numbers, units, and pairs of code and value.</summary>
public class QuantitySearchTests(QuantitySearchTests.Ward ward) : IClassFixture<QuantitySearchTests.Ward>
{
    private const string Ucum = "http://unitsofmeasure.org";

    // volume  1000 mL     litre  1 L        less   999.5 mL     six   6.00 mL
    // rate    50 mL/h     shift  400 mL/(8.h)        minus  -20 mL
    // bag     3 {bag} of another system               text   7, unit "cups" without a code
    // parts   5 mL; components instilled 3000 mL, drained 3450 mL, hours 1 h
    // none    no value
    [Theory]
    // The digits of the number say how far it reaches.
    [InlineData("value-quantity=1000||mL", "less litre volume")]
    [InlineData("value-quantity=1000.0||mL", "litre volume")]
    [InlineData("value-quantity=999||mL", "")]
    [InlineData("value-quantity=999.5||mL", "less")]
    [InlineData("value-quantity=1||L", "less litre volume")]
    [InlineData("value-quantity=1.000||L", "less litre volume")]
    [InlineData("value-quantity=1.0000||L", "litre volume")]
    [InlineData("value-quantity=1e3||mL", "less litre volume")]
    [InlineData("value-quantity=6||mL", "six")]
    [InlineData("value-quantity=6.000||mL", "six")]
    [InlineData("value-quantity=-20||mL", "minus")]
    // One litre is a thousand millilitres, as UCUM and without a system; not in another system.
    [InlineData("value-quantity=1.0000|" + Ucum + "|L", "litre volume")]
    [InlineData("value-quantity=1.0000|https://ward.example/units|L", "")]
    [InlineData("value-quantity=50|" + Ucum + "|mL/h", "rate shift")]
    [InlineData("value-quantity=1200.0|" + Ucum + "|mL/d", "rate shift")]
    [InlineData("value-quantity=50|" + Ucum + "|mL", "")]
    [InlineData("value-quantity=3|https://ward.example/units|{bag}", "bag")]
    [InlineData("value-quantity=3||{bag}", "bag")]
    [InlineData("value-quantity=7||cups", "text")]
    // Without a unit, the number as written.
    [InlineData("value-quantity=1000", "less volume")]
    [InlineData("value-quantity=1", "litre")]
    [InlineData("value-quantity=lt4", "bag litre minus")]
    // Prefixes. lt, le, gt and ge compare with the number itself, sa and eb with the end of its stretch.
    [InlineData("value-quantity=eq1000.0||mL", "litre volume")]
    [InlineData("value-quantity=ne1000.0||mL", "less minus parts six")]
    [InlineData("value-quantity=gt999.5||mL", "litre volume")]
    [InlineData("value-quantity=ge999.5||mL", "less litre volume")]
    [InlineData("value-quantity=lt6||mL", "minus parts")]
    [InlineData("value-quantity=le6||mL", "minus parts six")]
    [InlineData("value-quantity=sa999||mL", "less litre volume")]
    [InlineData("value-quantity=sa1000||mL", "")]
    [InlineData("value-quantity=eb1000.0||mL", "less minus parts six")]
    [InlineData("value-quantity=eb6||mL", "minus parts")]
    [InlineData("value-quantity=ap950||mL", "less litre volume")]
    [InlineData("value-quantity=ap-21||mL", "minus")]
    [InlineData("value-quantity=6||mL,1.0000||L", "litre six volume")]
    [InlineData("value-quantity=gt5.5||mL&value-quantity=lt999.9||mL", "less six")]
    [InlineData("value-quantity:missing=true", "none")]
    // Code and value of one pair, never crossed.
    [InlineData("code-value-quantity=drainage$gt999.5||mL", "litre volume")]
    [InlineData("code-value-quantity=https://ward.example/codes|drainage$1||L", "less litre volume")]
    [InlineData("code-value-quantity=urine$gt0||mL", "")]
    [InlineData("component-code=drained", "parts")]
    [InlineData("component-code:not=drained&status=amended", "")]
    [InlineData("component-value-quantity=3000||mL", "parts")]
    [InlineData("component-value-quantity=5||mL", "")]
    [InlineData("component-code-value-quantity=drained$3450||mL", "parts")]
    [InlineData("component-code-value-quantity=drained$3000||mL", "")]
    [InlineData("component-code-value-quantity=instilled$3||L", "parts")]
    [InlineData("component-code-value-quantity=hours$60.0||min", "parts")]
    [InlineData("component-code=drainage", "")]
    [InlineData("combo-code=drained", "parts")]
    [InlineData("combo-code=drainage&status=amended", "parts")]
    [InlineData("combo-value-quantity=5||mL", "parts")]
    [InlineData("combo-value-quantity=3450||mL", "parts")]
    [InlineData("combo-code-value-quantity=drainage$5||mL", "parts")]
    [InlineData("combo-code-value-quantity=drained$5||mL", "")]
    [InlineData("combo-code-value-quantity=drained$5||mL,drainage$5||mL", "parts")]
    // Texts and displays, whole words from their beginning.
    [InlineData("code:text=mixed", "parts")]
    [InlineData("code:text=DRAIN", "parts")]
    [InlineData("code:text=rain", "")]
    [InlineData("code:text=100%25", "")]
    [InlineData("component-code:text=hours", "parts")]
    [InlineData("combo-code:text=hours,nothing", "parts")]
    [InlineData("code:text=hours", "")]
    public async Task A_quantity_finds(string query, string expected) =>
        Assert.Equal(expected, string.Join(' ', (await ward.Fhir.Ids("fhir/Observation?" + query)).Order()));

    [Fact]
    public async Task The_number_is_sent_as_it_was_written()
    {
        var json = await ward.Fhir.Client.GetStringAsync("fhir/Observation?value-quantity=6||mL");
        Assert.Contains("\"value\":6.00,", json, StringComparison.Ordinal);
    }

    [Fact]
    public async Task A_corrected_value_is_found_by_the_new_one_only()
    {
        await using var fhir = await FhirOverHttp.Start();
        await fhir.OpenEpisode("night");
        await fhir.Save("night", Drainage("d", "2026-03-02T08:50:00Z", null, 420));
        await fhir.Save("night", Drainage("d", "2026-03-02T08:50:00Z", null, 240));

        Assert.Empty(await fhir.Ids("fhir/Observation?value-quantity=420||mL"));
        Assert.Equal(["d"], await fhir.Ids("fhir/Observation?code-value-quantity=drainage$240||mL"));
    }

    [Fact]
    public async Task A_moved_date_moves_the_place_among_those_of_the_code()
    {
        await using var fhir = await FhirOverHttp.Start();
        await fhir.OpenEpisode("night");
        await fhir.Save("night", Drainage("a", "2026-03-02T08:00:00Z", null, 1), Drainage("b", "2026-03-02T09:00:00Z", null, 1));
        Assert.Equal(["a", "b"], await fhir.Ids("fhir/Observation?code=drainage"));

        await fhir.Save("night", Drainage("a", "2026-03-02T10:00:00Z", null, 1));

        Assert.Equal(["b", "a"], await fhir.Ids("fhir/Observation?code=drainage"));
        Assert.Equal(["a"], await fhir.Ids("fhir/Observation?code=drainage&date=gt2026-03-02T09:30:00Z"));
    }

    [Fact]
    public async Task A_code_under_two_systems_is_one_match()
    {
        await using var fhir = await FhirOverHttp.Start();
        await fhir.OpenEpisode("night");
        var twice = Drainage("twice", "2026-03-02T08:00:00Z", null, 1);
        twice.Code.Coding.Add(new("https://other.example/codes", "drainage"));
        await fhir.Save("night", twice, Drainage("once", "2026-03-02T09:00:00Z", null, 1));

        var found = await fhir.Get<Bundle>("fhir/Observation?code=drainage&_total=accurate");

        Assert.Equal(["twice", "once"], found.Entry.Select(entry => entry.Resource!.Id!));
        Assert.Equal(2, found.Total);
        Assert.Equal(["twice"], await fhir.Ids("fhir/Observation?code=https://other.example/codes|drainage"));
    }

    public sealed class Ward : IAsyncLifetime
    {
        internal FhirOverHttp Fhir { get; private set; } = null!;

        public async Task InitializeAsync()
        {
            Fhir = await FhirOverHttp.Start();
            await Fhir.OpenEpisode("night");
            var parts = Valued(
                "parts",
                new()
                {
                    Value = 5m,
                    System = Ucum,
                    Code = "mL",
                }
            );
            parts.Status = ObservationStatus.Amended;
            parts.Code.Text = "Mixed drainage";
            parts.Component =
            [
                Part("instilled", 3000m, "mL", "Irrigant in"),
                Part("drained", 3450m, "mL", "Fluid out"),
                Part("hours", 1m, "h", "Hours it took"),
            ];
            var none = Valued("none", null);
            await Fhir.Save(
                "night",
                Valued(
                    "volume",
                    new()
                    {
                        Value = 1000m,
                        System = Ucum,
                        Code = "mL",
                    }
                ),
                Valued(
                    "litre",
                    new()
                    {
                        Value = 1m,
                        System = Ucum,
                        Code = "L",
                    }
                ),
                Valued(
                    "less",
                    new()
                    {
                        Value = 999.5m,
                        System = Ucum,
                        Code = "mL",
                    }
                ),
                Valued(
                    "six",
                    new()
                    {
                        Value = 6.00m,
                        System = Ucum,
                        Code = "mL",
                    }
                ),
                Valued(
                    "rate",
                    new()
                    {
                        Value = 50m,
                        System = Ucum,
                        Code = "mL/h",
                    }
                ),
                Valued(
                    "shift",
                    new()
                    {
                        Value = 400m,
                        System = Ucum,
                        Code = "mL/(8.h)",
                    }
                ),
                Valued(
                    "minus",
                    new()
                    {
                        Value = -20m,
                        System = Ucum,
                        Code = "mL",
                    }
                ),
                Valued(
                    "bag",
                    new()
                    {
                        Value = 3m,
                        System = "https://ward.example/units",
                        Code = "{bag}",
                    }
                ),
                Valued("text", new() { Value = 7m, Unit = "cups" }),
                parts,
                none
            );
        }

        public async Task DisposeAsync() => await Fhir.DisposeAsync();

        private static Observation Valued(string id, Quantity? value)
        {
            var observation = Drainage(id, "2026-03-02T08:00:00Z", null, 0);
            observation.Value = value;
            return observation;
        }

        private static Observation.ComponentComponent Part(string code, decimal value, string unit, string display) =>
            new()
            {
                Code = new("https://ward.example/codes", code, display, null),
                Value = new Quantity
                {
                    Value = value,
                    System = Ucum,
                    Code = unit,
                },
            };
    }
}
