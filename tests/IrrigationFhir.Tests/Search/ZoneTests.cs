using IrrigationFhir.Tests.Rest;
using static IrrigationFhir.Tests.Store.StoreOnDisk;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Search;

/// <summary>R-SRCH-04 and R-SRCH-12: where an offset is given the server's zone changes nothing; where none is given it decides.</summary>
public class ZoneTests
{
    // second  09:00:00Z            fine   09:00:00.500Z        micro  09:00:00.500001Z
    // hour    09:00:00Z to 10:00Z  open   from 11:00:00Z       far    09:00:00+14:00, which is 19:00:00Z the day before
    // summer  02:30:00+02:00 on 25 October 2026, and winter 02:30:00+01:00, an hour later
    private static readonly (string Query, string Expected)[] WithOffset =
    [
        ("2026-03-02T09:00:00Z", "fine micro second"),
        ("2026-03-02T05:30:00-03:30", "fine micro second"),
        ("2026-03-02T23:00:00%2B14:00", "fine micro second"),
        ("2026-03-02T09:00:00.5Z", "fine micro"),
        ("2026-03-02T09:00:00.500Z", "fine micro"),
        ("2026-03-02T09:00:00.500001Z", "micro"),
        ("2026-03-02T09:00:00.500000Z", ""),
        ("2026-03-02T09:00Z", "fine micro second"),
        ("sa2026-03-02T09:59:59Z", "open summer winter"),
        ("gt2026-03-02T09:59:59Z", "hour open summer winter"),
        ("lt2026-03-02T09:00:00Z", "far"),
        ("eb2026-03-02T09:00:01Z", "far fine micro second"),
        ("2026-03-01T19:00:00Z", "far"),
        ("2026-03-02T09:00:00%2B14:00", "far"),
        ("ne2026-03-02T09:00:00Z", "far hour open summer winter"),
        ("ge2026-03-02T11:00:00Z", "open summer winter"),
        ("le2026-03-01T19:00:00Z", "far"),
        ("ap2026-03-02T11:00:00Z", "open"),
        ("2026-10-25T02:30:00%2B02:00", "summer"),
        ("2026-10-25T02:30:00%2B01:00", "winter"),
        ("2026-10-25T00:30:00Z", "summer"),
        ("ge2026-10-25T01:00:00Z", "open winter"),
    ];

    [Theory]
    [InlineData("UTC")]
    [InlineData("America/St_Johns")]
    [InlineData("Pacific/Kiritimati")]
    public async Task An_offset_decides_whatever_the_zone(string zone)
    {
        await using var fhir = await Filled(zone);
        foreach (var (query, expected) in WithOffset)
            Assert.Equal((query, expected), (query, string.Join(' ', (await fhir.Ids($"fhir/Observation?date={query}")).Order())));
    }

    [Theory]
    // Without an offset a day is the zone's day: 2 March begins at 00:00Z, 03:30Z, or 10:00Z of 1 March.
    [InlineData("UTC", "2026-03-02", "fine hour micro second")]
    [InlineData("America/St_Johns", "2026-03-02", "fine hour micro second")]
    [InlineData("Pacific/Kiritimati", "2026-03-02", "far fine micro second")]
    [InlineData("UTC", "2026-03-02T09:00", "fine micro second")]
    [InlineData("America/St_Johns", "2026-03-02T05:30", "fine micro second")]
    [InlineData("Pacific/Kiritimati", "2026-03-02T23:00", "fine micro second")]
    [InlineData("Pacific/Kiritimati", "2026-03-02T09:00", "far")]
    // The hour that happens twice in Berlin happens once there.
    [InlineData("UTC", "2026-10-25T00:30:00", "summer")]
    [InlineData("America/St_Johns", "2026-10-24T22:00:00", "summer")]
    [InlineData("Pacific/Kiritimati", "2026-10-25T15:30:00", "winter")]
    // 2026-11-01T01:30 happens twice in St. John's: at 04:00Z and at 05:00Z.
    [InlineData("America/St_Johns", "2026-11-01T01:30:00", "early late")]
    [InlineData("America/St_Johns", "2026-11-01T01:30:00-02:30", "early")]
    [InlineData("America/St_Johns", "2026-11-01T01:30:00-03:30", "late")]
    [InlineData("UTC", "2026-11-01T04:00:00", "early")]
    public async Task Without_an_offset_the_zone_decides(string zone, string query, string expected)
    {
        await using var fhir = await Filled(zone);
        await fhir.Save("night", Drainage("early", "2026-11-01T04:00:00Z", null, 1), Drainage("late", "2026-11-01T05:00:00Z", null, 1));
        Assert.Equal(expected, string.Join(' ', (await fhir.Ids($"fhir/Observation?date={query}")).Order()));
    }

    private static async Task<FhirOverHttp> Filled(string zone)
    {
        var fhir = await FhirOverHttp.Start(null, ("Data:TimeZone", zone));
        await fhir.OpenEpisode("night");
        var open = Drainage("open", "", null, 1);
        open.Effective = new Hl7.Fhir.Model.Period { Start = "2026-03-02T11:00:00Z" };
        await fhir.Save(
            "night",
            Drainage("second", "2026-03-02T09:00:00Z", null, 1),
            Drainage("fine", "2026-03-02T09:00:00.500Z", null, 1),
            Drainage("micro", "2026-03-02T09:00:00.500001Z", null, 1),
            Drainage("hour", "2026-03-02T09:00:00Z", "2026-03-02T10:00:00Z", 1),
            open,
            Drainage("far", "2026-03-02T09:00:00+14:00", null, 1),
            Drainage("summer", "2026-10-25T02:30:00+02:00", null, 1),
            Drainage("winter", "2026-10-25T02:30:00+01:00", null, 1)
        );
        return fhir;
    }
}
