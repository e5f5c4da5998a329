using IrrigationFhir.Tests.Rest;
using static IrrigationFhir.Tests.Store.StoreOnDisk;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Search;

/// <summary>
/// R-SRCH-04 on the edges. The clock stands at 2026-03-02T12:00:00Z, the zone of dates without offset is Europe/Berlin (UTC+1).
/// </summary>
public class DateSearchTests(DateSearchTests.Night night) : IClassFixture<DateSearchTests.Night>
{
    // second   09:00:00Z, so [09:00:00, 09:00:01)
    // fine     09:00:00.500Z, one millisecond wide
    // hour     09:00:00Z to 10:00:00Z, so [09:00:00, 10:00:01)
    // open     from 11:00:00Z, without an end
    // day      2026-03-02, so from 2026-03-01T23:00Z for 24 h
    // none     without a date; no comparison finds it
    [Theory]
    [InlineData("2026-03-02", "day fine hour second")]
    [InlineData("eq2026-03-02", "day fine hour second")]
    [InlineData("2026-03-02T09:00:00Z", "fine second")]
    [InlineData("2026-03-02T10:00:00%2B01:00", "fine second")]
    [InlineData("2026-03-02T09:00:00.5Z", "fine")]
    [InlineData("2026-03-02T09:00:00.500Z", "fine")]
    [InlineData("2026-03-02T09:00:00.501Z", "")]
    [InlineData("2026-03-02T09:00Z", "fine second")]
    [InlineData("2026-03", "day fine hour second")]
    [InlineData("2026", "day fine hour second")]
    [InlineData("ne2026-03-02T09:00:00Z", "day hour open")]
    [InlineData("ne2026-03-02", "open")]
    // gt: some of it lies after.
    [InlineData("gt2026-03-02T09:00:00Z", "day hour open")]
    [InlineData("gt2026-03-02T09:00:00.499Z", "day fine hour open second")]
    [InlineData("gt2026-03-02T10:00:00Z", "day open")]
    [InlineData("gt2026-03-02T09:59:59Z", "day hour open")]
    [InlineData("gt2026-03-02", "open")]
    [InlineData("gt2099", "open")]
    // ge: or contained.
    [InlineData("ge2026-03-02T09:00:00Z", "day fine hour open second")]
    [InlineData("ge2026-03-02T09:00:01Z", "day hour open")]
    [InlineData("ge2026-03-02", "day fine hour open second")]
    [InlineData("ge2026-03-03", "open")]
    // lt: some of it lies before.
    [InlineData("lt2026-03-02T09:00:00Z", "day")]
    [InlineData("lt2026-03-02T09:00:01Z", "day fine hour second")]
    [InlineData("lt2026-03-02T11:00:00Z", "day fine hour second")]
    [InlineData("lt2026-03-02T11:00:01Z", "day fine hour open second")]
    [InlineData("lt2026-03-02", "")]
    // le: or contained.
    [InlineData("le2026-03-02T09:00:00Z", "day fine second")]
    [InlineData("le2026-03-02", "day fine hour second")]
    [InlineData("le2026-03-01", "")]
    // sa and eb: wholly after, wholly before.
    [InlineData("sa2026-03-02T09:00:00.4Z", "fine open")]
    [InlineData("sa2026-03-02T08:59:59Z", "fine hour open second")]
    [InlineData("sa2026-03-01", "day fine hour open second")]
    [InlineData("sa2026-03-02", "")]
    [InlineData("eb2026-03-02T09:00:01Z", "fine second")]
    [InlineData("eb2026-03-02T10:00:01Z", "fine hour second")]
    [InlineData("eb2026-03-03", "day fine hour second")]
    [InlineData("eb2099", "day fine hour second")]
    // ap: a tenth of the distance to now more on each side; 12 minutes at 10:00Z, two hours before now.
    [InlineData("ap2026-03-02T10:00:00Z", "day hour")]
    [InlineData("ap2026-03-02T10:10:00Z", "day hour")]
    [InlineData("ap2026-03-02T10:11:00Z", "day")]
    // Comma is or, repetition is and.
    [InlineData("2026-03-02T09:00:00.5Z,gt2099", "fine open")]
    [InlineData("ge2026-03-02T09:00:00Z&date=lt2026-03-02T10:00:00Z", "day fine hour second")]
    [InlineData("sa2026-03-02T08:59:59Z&date=eb2026-03-02T10:00:01Z", "fine hour second")]
    public async Task A_date_finds(string date, string expected) =>
        Assert.Equal(expected, string.Join(' ', (await night.Fhir.Ids($"fhir/Observation?patient.identifier=P-1&date={date}")).Order()));

    [Theory]
    // The hour from 02:00 to 03:00 happens twice; an offset tells which.
    [InlineData("2026-10-25T02:30:00%2B02:00", "summer")]
    [InlineData("2026-10-25T02:30:00%2B01:00", "winter")]
    [InlineData("2026-10-25T02:30:00", "summer winter")]
    [InlineData("2026-10-25", "summer winter")]
    [InlineData("lt2026-10-25T02:30:00%2B01:00", "summer")]
    public async Task The_night_the_clocks_go_back_R_SRCH_12(string date, string expected) =>
        Assert.Equal(expected, string.Join(' ', await night.Fhir.Ids($"fhir/Observation?patient.identifier=P-2&date={date}")));

    /// <summary>One filled store for all questions.</summary>
    public sealed class Night : IAsyncLifetime
    {
        internal FhirOverHttp Fhir { get; private set; } = null!;

        public async Task InitializeAsync()
        {
            var fhir = Fhir = await FhirOverHttp.Start();
            await fhir.OpenEpisode("autumn", "P-2");
            await fhir.Save(
                "autumn",
                Drainage("summer", "2026-10-25T02:30:00+02:00", null, 1, "P-2"),
                Drainage("winter", "2026-10-25T02:30:00+01:00", null, 1, "P-2")
            );
            await fhir.OpenEpisode("night");
            var open = Drainage("open", "", null, 1);
            open.Effective = new Hl7.Fhir.Model.Period { Start = "2026-03-02T11:00:00Z" };
            var none = Drainage("none", "", null, 1);
            none.Effective = null;
            await fhir.Save(
                "night",
                Drainage("second", "2026-03-02T09:00:00Z", null, 1),
                Drainage("fine", "2026-03-02T09:00:00.500Z", null, 1),
                Drainage("hour", "2026-03-02T09:00:00Z", "2026-03-02T10:00:00Z", 1),
                open,
                Drainage("day", "2026-03-02", null, 1),
                none
            );
        }

        public async Task DisposeAsync() => await Fhir.DisposeAsync();
    }
}
