using System.Text.Json;
using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using IrrigationFhir.Record;
using IrrigationFhir.Tests.Validation;
using NodaTime;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Tests.Fhir;

/// <summary>A doubt and the blood in the drainage reach whoever reads the output as FHIR.</summary>
public class DoubtsPublishedTests
{
    private static CorrectedUrineOutputMapper CorrectedUrineOutputMapper { get; } = new(Ours.Vocabulary);

    private static readonly Instant Noon = Instant.FromUtc(2026, 3, 14, 12, 0);

    [Fact]
    public void A_doubted_output_keeps_its_number_and_says_in_words_what_to_look_at()
    {
        var reading = new EntryKey("scale", "d1200");
        var (episode, hour) = Drained(reading, 3900);
        var doubted = hour with
        {
            Status = OutputStatus.Preliminary,
            Caveats = [.. hour.Caveats, Caveat.Doubted],
            Doubts = [new(DoubtKind.OutputAboveCeiling, reading, "3900 mL in 1 h, 55.7 mL/kg/h, are more than a body makes")],
        };

        var said = CorrectedUrineOutputMapper.ToObservation(doubted, episode);

        Assert.Equal(ObservationStatus.Preliminary, said.Status);
        Assert.Equal(3900, ((Quantity)said.Value!).Value);
        var caveats = said.Component.Select(part => part.Value).OfType<CodeableConcept>().SelectMany(value => value.Coding);
        Assert.Contains("doubted", caveats.Select(coding => coding.Code));
        Assert.Equal(
            "Doubted: 3900 mL in 1 h, 55.7 mL/kg/h, are more than a body makes. It counts in the sum and in no decision until somebody "
                + "confirms or corrects the reading.",
            Assert.Single(said.Note).Text
        );
        Assert.Empty(Judged.Keys(said));
    }

    [Fact]
    public void Blood_is_a_term_of_its_own_where_it_was_charted_and_absent_where_it_was_not()
    {
        var (episode, hour) = Drained(new("scale", "d1200"), 400);
        var bloody = CorrectedUrineOutputMapper.ToObservation(hour with { Blood = Volume.FromMillilitres(50) }, episode);
        Assert.Equal(50, ((Quantity)bloody.Component("blood-removed").Value!).Value);
        Assert.Empty(Judged.Keys(bloody));

        var clear = CorrectedUrineOutputMapper.ToObservation(hour, episode);
        Assert.DoesNotContain(clear.Component, part => part.Code!.Coding[0].Code == "blood-removed");
    }

    /// <summary>An hour from 11:00 that ends with an emptying, and nothing else.</summary>
    private static (Episode Episode, ClosedInterval Hour) Drained(EntryKey reading, decimal millilitres)
    {
        var described = RunningService.Episode("stay", "2026-03-14T11:00:00Z").ToJsonString();
        var definition = EpisodeReader.Read(JsonDocument.Parse(described).RootElement, DateTimeZone.Utc, [])!;
        var emptied = new DrainageEmptied(new(reading, Noon), "1", Volume.FromMillilitres(millilitres));
        var log = EpisodeLog.Empty(definition.Frame).Append([emptied], Noon).Log;
        var balance = FluidBalance.Of(log, BalanceSettings.Default);
        return (new("stay", definition, balance), balance[FluidBalance.Bladder].Single());
    }
}
