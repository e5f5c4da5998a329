using Hl7.Fhir.Model;
using Irrigation.Episodes;
using IrrigationFhir.Episodes;
using NodaTime;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Fhir;

/// <summary>The irrigation of an episode: its kind, from its first irrigant to its last.</summary>
/// <param name="Kind">Slug of the irrigation kind.</param>
/// <param name="Start">First irrigant.</param>
/// <param name="End">Last irrigant, once the episode has ended.</param>
internal sealed record IrrigationRun(string Kind, Instant Start, Instant? End)
{
    /// <summary>The irrigation of an episode; null before the first irrigant.</summary>
    public static IrrigationRun? Of(Episode episode)
    {
        var log = episode.Log;
        var lines = Channel.Lines(log).Select(line => log[Channel.Line(line)]).Where(entries => entries.Count > 0).ToList();
        if (lines.Count == 0) return null;
        var start = lines.Min(entries => entries[0].Header.From ?? entries[0].At);
        var last = lines.Max(entries => entries[entries.Count - 1].At);
        return new(KindOf(log), start, episode.Definition.Frame.End is null ? null : last);
    }

    /// <summary>As ordered; without an order as the entries show it: only syringes is by hand, with a clamp an instillation left to dwell.</summary>
    private static string KindOf(EpisodeLog log)
    {
        var orders = log["order-set"];
        for (var i = orders.Count - 1; i >= 0; i--)
        {
            if (orders[i] is OrderSet { Method: { } method }) return method;
        }

        var byHand = Channel.Lines(log).All(line => log[Channel.Line(line)].Count == log[Channel.Syringe(line)].Count);
        return !byHand ? "continuous" : log[Channel.Clamp].Count > 0 ? "instillation-dwell" : "intermittent-manual";
    }
}

/// <summary>The irrigation as a Procedure.</summary>
internal static class BladderIrrigationMapper
{
    /// <summary>The Procedure's id.</summary>
    public static string IdOf(Episode episode) => $"{episode.Id}.bladder-irrigation";

    /// <summary>The Procedure.</summary>
    public static Procedure ToProcedure(IrrigationRun run, Episode episode, bool withdrawn)
    {
        var zone = episode.Definition.Frame.Zone;
        return new()
        {
            Id = IdOf(episode),
            Meta = new() { Profile = [Profiles.BladderIrrigation] },
            Identifier = [new(episode.Definition.Identifier.System, episode.Definition.Identifier.Value)],
            Status = withdrawn ? EventStatus.EnteredInError : episode.Definition.Frame.End is null ? EventStatus.InProgress : EventStatus.Completed,
            Code = Codes.IrrigationProcedure(run.Kind),
            Subject = Wire.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? Wire.Reference(encounter) : null,
            Performed = new Hl7.Fhir.Model.Period { Start = Wire.Time(run.Start, zone), End = run.End is { } end ? Wire.Time(end, zone) : null },
            BodySite = [Codes.Bladder()],
        };
    }
}
