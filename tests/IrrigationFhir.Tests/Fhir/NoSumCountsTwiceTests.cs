using System.Text.Json.Nodes;
using IrrigationFhir.Demo;
using static IrrigationFhir.Tests.Entries.Charted;
using static IrrigationFhir.Tests.Fhir.PublishedNight;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>No sum counts twice: one series adds up, and each code of a length stands on what is of that length.</summary>
public sealed class NoSumCountsTwiceTests(PublishedNight night) : IClassFixture<PublishedNight>
{
    /// <summary>Codes of published vocabularies that were seen in public sources.</summary>
    private static readonly HashSet<string> Verified =
    [
        "http://loinc.org|9187-6", // Urine output
        "http://loinc.org|9188-4", // Urine output 1 hour
        "http://loinc.org|9189-2", // Urine output 8 hour
        "http://loinc.org|9191-8", // Urine output 12 hour
        "http://loinc.org|9192-6", // Urine output 24 hour
        "http://loinc.org|9195-9", // Urine output by in and out urethral catheter
        "http://loinc.org|79549-2", // Urine output measured by nephrostomy
        "http://loinc.org|9025-8", // Fluid intake urinary bladder irrigation Estimated
        "http://loinc.org|9026-6", // Fluid intake urinary bladder irrigation Measured
        "http://loinc.org|15309-8", // Urinary bladder Volume by derived from height, width and length (US)
        "http://loinc.org|5778-6", // Color of Urine
        "http://loinc.org|32167-9", // Clarity of Urine
        "http://loinc.org|72514-3", // Pain severity - 0-10 verbal numeric rating
        "http://loinc.org|29463-7", // Body weight
        "http://loinc.org|3141-9", // Body weight Measured
        "http://loinc.org|50064-5", // Ideal body weight
        "http://snomed.info/sct|364201005", // Urine output (observable entity)
        "http://snomed.info/sct|251843005", // Fluid output from drain (observable entity)
        "http://snomed.info/sct|364396009", // Fluid balance observable
        "http://snomed.info/sct|78533007", // Irrigation of urinary bladder (procedure)
        "http://snomed.info/sct|89837001", // Urinary bladder structure
        "http://snomed.info/sct|75753009", // Blood clot (morphologic abnormality)
        "http://snomed.info/sct|167235001", // Urine: red - blood
        "http://snomed.info/sct|720003003", // Reddish color urine
        "http://snomed.info/sct|167236000", // Urine looks clear (finding)
        "http://snomed.info/sct|1290141002", // Slightly cloudy urine (finding)
        "urn:iso:std:iso:11073:10101|157740", // Drainage volume in bag
        "urn:iso:std:iso:11073:10101|157784", // MDC_FLOW_FLUID_PUMP
    ];

    [Fact]
    public void No_sum_counts_twice_the_generic_code_stands_on_closed_intervals_alone_and_adds_up_to_what_the_night_made()
    {
        var generic = night.Observations.Where(o => Codes(o).Contains("9187-6") || Codes(o).Contains("364201005")).ToList();

        Assert.All(generic, output => Assert.Contains(".corrected-urine-output.i", Id(output), StringComparison.Ordinal));
        Assert.All(generic, output => Assert.Equal("mL", (string)output["valueQuantity"]!["code"]!));
        // 5720 − 5370 + 60 leaked: the 410 mL of the handover. Each interval is given to the millilitre.
        Assert.InRange(generic.Sum(Value)!.Value, 409m, 411m);
    }

    [Fact]
    public void No_sum_counts_twice_every_window_has_its_own_code_and_the_length_of_its_period_in_the_unit()
    {
        var windows = night.Outputs.Where(o => !Codes(o).Contains("9187-6")).ToList();

        Assert.Equal(13, windows.Count);
        Assert.All(
            windows,
            window =>
            {
                var (start, end) = Period(window);
                var local = Codes(window).Last();
                Assert.StartsWith("urine-output-", local, StringComparison.Ordinal);
                Assert.Equal(
                    (Value(window), (end - start).TotalHours) switch
                    {
                        (null, _) => (local, (string?)null),
                        (_, 1) => ("9188-4", "mL/h"),
                        (_, 8) => ("9189-2", "mL/(8.h)"),
                        (_, 12) => ("9191-8", "mL/(12.h)"),
                        (_, 24) => ("9192-6", "mL/d"),
                        _ => (local, "mL"),
                    },
                    (Codes(window).First(), (string?)window["valueQuantity"]?["code"])
                );
            }
        );
    }

    [Theory]
    [InlineData(8, "9189-2", "mL/(8.h)")]
    [InlineData(12, "9191-8", "mL/(12.h)")]
    public async Task No_sum_counts_twice_a_complete_shift_has_the_code_of_its_hours(int hours, string code, string unit)
    {
        var ends = 6 + hours;
        var description = RunningService.Episode($"shift-of-{hours}", At("06:00"));
        description["shiftStarts"] = new JsonArray("06:00", $"{ends:00}:00");
        var episode = await night.Ward.Open(description);
        await night.Ward.Record(episode, BagHung("bag", "06:00", 3000), Flow("flow", "06:00", 100));
        await night.Ward.Record(episode, Emptied("half", "09:30", 500), Emptied("whole", $"{ends:00}:00", 900));
        await night.Ward.Record(episode, BagTakenDown("down", $"{ends:00}:00", 2000));

        var shift = (await night.Ward.Resources(episode))[$"Observation/{episode}.corrected-urine-output.s20260314T060000"];
        Assert.Equal([code, "urine-output-shift"], Codes(shift));
        // 1400 mL drained, 1000 mL ran in.
        Assert.Equal((400m, unit), (Value(shift)!.Value, (string)shift["valueQuantity"]!["code"]!));
    }

    [Theory]
    [InlineData("9187-6", "i20260315T060000")] // the interval that closes last
    [InlineData("9188-4", "h20260315T050000")] // the last complete hour, 06:00 to 07:00 in Vienna
    [InlineData("urine-output-day", "d20260314T230000")]
    [InlineData("urine-output-shift", "s20260314T180000")]
    public async Task No_sum_counts_twice_the_latest_of_each_code_is_what_its_name_says(string code, string window)
    {
        var patient = Uri.EscapeDataString(InventedNight.Patient);
        var found = await night.Ward.Read($"/fhir/Observation/$lastn?patient.identifier={patient}&code={code}");

        Assert.Equal(
            $"{night.Episode}.corrected-urine-output.{window}",
            Id(Assert.Single(found["entry"]!.AsArray().Select(entry => entry!["resource"]!)))
        );
    }

    [Fact]
    public void No_sum_counts_twice_every_code_that_appears_was_seen_in_a_public_source()
    {
        string[] vocabularies = ["http://loinc.org", "http://snomed.info/sct", "urn:iso:std:iso:11073:10101"];
        var said = night.Observations.SelectMany(Codings).Where(coding => vocabularies.Contains(coding.Split('|')[0])).Distinct().ToList();

        Assert.NotEmpty(said);
        Assert.All(said, coding => Assert.Contains(coding, Verified));
        Assert.All(
            IrrigationFhir.Fhir.Codes.PartlyVerified.Select(coding => $"{coding.System}|{coding.Code}"),
            coding => Assert.Contains(coding, Verified)
        );
    }

    private static IEnumerable<string> Codings(JsonNode? node) =>
        node switch
        {
            JsonObject coding when coding["system"] is not null && coding["code"] is not null && coding["value"] is null =>
            [
                $"{coding["system"]}|{coding["code"]}",
            ],
            JsonObject of => of.SelectMany(property => Codings(property.Value)),
            JsonArray items => items.SelectMany(Codings),
            _ => [],
        };
}
