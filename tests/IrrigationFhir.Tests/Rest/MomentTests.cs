using System.Text.Json.Nodes;
using IrrigationFhir.Tests.Entries;

namespace IrrigationFhir.Tests.Rest;

/// <summary>Times at the ends of the calendar, in zones whose clocks lie beyond them: refused on every path, and never a failure.</summary>
public class MomentTests
{
    public static readonly string[] Moments =
    [
        "9999-12-31T23:59:59Z",
        "9999-12-31T23:59:59-12:00",
        "9999-12-31T23:59:59-18:00",
        "9999-12-31T23:59:59+18:00",
        "0001-01-01T00:00:00+18:00",
        "0000-01-01T00:00:00Z",
        "-9998-01-01T00:00:00Z",
        "2262-04-11T23:47:16.854775807Z",
        "2260-01-01T00:00:01Z",
        "1899-12-31T23:59:59Z",
    ];

    [Theory]
    [InlineData("UTC")]
    [InlineData("Pacific/Kiritimati")]
    [InlineData("Pacific/Pago_Pago")]
    public async Task No_time_makes_the_service_fail(string zone)
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z");
        var described = RunningService.Episode("stay", "2026-03-14T08:00:00Z");
        described["timeZone"] = zone;
        var episode = await ward.Open(described);
        await ward.Record(episode, Charted.AnHour());
        foreach (var moment in Moments)
        {
            foreach (var report in new[] { "balance", "flags", "record", "handover" })
            {
                Refused(await ward.Get($"/episodes/{episode}/{report}?asOf={Uri.EscapeDataString(moment)}"), 400, moment);
            }

            foreach (var property in new[] { "at", "recordedAt", "from" })
            {
                var emptied = Charted.Emptied($"{property} {moment}", "10:00", 5).With(property, moment);
                Refused(await ward.Post($"/episodes/{episode}/entries", emptied), 422, moment);
            }

            Refused(await ward.Post("/episodes", RunningService.Episode($"stay of {moment}", moment)), 422, moment);
            foreach (var element in new[] { "effectiveDateTime", "issued" })
            {
                Answered(await ward.Post("/fhir/Observation", Observation(element, moment)), moment);
                Answered(await ward.Post("/fhir/Observation/$validate", Observation(element, moment)), moment);
            }

            foreach (var prefix in new[] { "", "gt", "ap", "sa" })
            {
                Answered(await ward.Get($"/fhir/Observation?date={prefix}{Uri.EscapeDataString(moment)}"), moment);
                Answered(await ward.Get($"/fhir/Flag?_lastUpdated={prefix}{Uri.EscapeDataString(moment)}"), moment);
            }

            Answered(await ward.Get($"/fhir/Observation/_history?_since={Uri.EscapeDataString(moment)}"), moment);
        }
    }

    private static void Refused(Reply reply, int status, string moment) =>
        Assert.True((int)reply.Status == status, $"{moment}: {(int)reply.Status} {reply.Text}");

    private static void Answered(Reply reply, string moment) =>
        Assert.True((int)reply.Status < 500, $"{moment}: {(int)reply.Status} {reply.Text}");

    private static JsonNode Observation(string element, string moment)
    {
        var observation = JsonNode
            .Parse(
                """
                {
                  "resourceType": "Observation", "status": "final", "effectiveDateTime": "2026-03-14T09:00:00Z",
                  "code": {"coding": [{"system": "http://loinc.org", "code": "9192-6"}]},
                  "subject": {"identifier": {"system": "https://ward.example/patients", "value": "patient of stay"}},
                  "valueQuantity": {"value": 1, "unit": "mL", "system": "http://unitsofmeasure.org", "code": "mL"}
                }
                """
            )!
            .AsObject();
        observation[element] = moment;
        return observation;
    }
}
