using Hl7.Fhir.Model;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Episodes;
using IrrigationFhir.Episodes;

namespace IrrigationFhir.Fhir;

/// <summary>What was measured at the bedside, one Observation an entry.</summary>
internal static class EntryMapper
{
    /// <summary>The slug of the profile that an entry is published under; null for one that is kept and not published.</summary>
    public static string? SlugOf(Entry entry) => entry switch
    {
        { Header.Purpose: not Purpose.Clinical } => null,
        IrrigantInstilled or BagRead or BagTakenDown or PumpTotalRead => "irrigant-instilled",
        FlowSet => "irrigant-flow-rate",
        DrainageEmptied or DrainageLevelRead or DrainageWeighed => "bladder-drainage",
        UrineCollected => "urine-collected",
        LeakEstimated => "leak-estimated",
        BladderScanned => "bladder-scan-volume",
        _ => null,
    };

    /// <summary>The id of the resource that an entry is published as; null for one that is not published.</summary>
    public static string? IdOf(Episode episode, Entry entry) => SlugOf(entry) is { } slug ? Wire.EntryId(episode.Id, slug, entry.Key) : null;

    /// <summary>The Observation of an entry; null for one that is not published, or (a first reading) measures nothing yet.</summary>
    public static Observation? ToObservation(Entry entry, Episode episode, ObservationStatus status) =>
        SentObservation.Beside(InOurWords(entry, episode, status), entry, episode);

    private static Observation? InOurWords(Entry entry, Episode episode, ObservationStatus status) => entry switch
    {
        { Header.Purpose: not Purpose.Clinical } => null,
        IrrigantInstilled e => With(Bare(e, episode, status), Profiles.IrrigantInstilled, Codes.IrrigantInstilled(e.Header.How == MeasuringWay.Estimate), Wire.Quantity(e.Amount)),
        BagRead or BagTakenDown or PumpTotalRead => Measured(entry, episode, status),
        FlowSet e => Flow(e, episode, status),
        DrainageEmptied e => Drainage(e, episode, status, emptied: true, Wire.Quantity(e.Drained)),
        DrainageLevelRead e => Drainage(e, episode, status, emptied: false, Wire.Quantity(e.Level)),
        DrainageWeighed e => Weighed(e, episode, status),
        UrineCollected e => Urine(e, episode, status),
        LeakEstimated e => With(Bare(e, episode, status), Profiles.LeakEstimated, Codes.LeakEstimated(), Wire.Quantity(e.Amount)),
        BladderScanned e => With(Bare(e, episode, status), Profiles.BladderScanVolume, Codes.BladderScanVolume(), Wire.Quantity(e.Held)),
        _ => null,
    };

    /// <summary>What every Observation of an entry says.</summary>
    public static Observation Bare(Entry entry, Episode episode, ObservationStatus status)
    {
        var zone = episode.Definition.Frame.Zone;
        return new()
        {
            Id = IdOf(episode, entry),
            Identifier = [Wire.Identifier(entry.Key)],
            Status = status,
            Category = Codes.FluidCategories(),
            Subject = Wire.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? Wire.Reference(encounter) : null,
            Effective = entry.Header.From is { } from ? Wire.Period(from, entry.At, zone) : new FhirDateTime(Wire.Time(entry.At, zone)),
            Performer = Wire.Named(entry.Header.Performer) is { } performer ? [performer] : [],
            Device = Wire.Named(entry.Header.Device),
            Method = entry.Header.How is { } how ? Codes.MeasuringWay(Slug.Of(how)) : null,
            Note = entry.Header.Note is { } note ? [new() { Text = note }] : [],
        };
    }

    private static Observation With(Observation observation, string profile, CodeableConcept code, DataType value)
    {
        observation.Meta = new() { Profile = [profile] };
        observation.Code = code;
        observation.Value = value;
        return observation;
    }

    /// <summary>What ran since the reading before; a first reading has nothing to compare with.</summary>
    private static Observation? Measured(Entry reading, Episode episode, ObservationStatus status)
    {
        if (episode.Balance.MeasuredBy(reading) is not { } part)
        {
            if (status != ObservationStatus.EnteredInError) return null;
            var withdrawn = With(Bare(reading, episode, status), Profiles.IrrigantInstilled, Codes.IrrigantInstilled(false), null!);
            withdrawn.DataAbsentReason = Codes.DataAbsent("error");
            return withdrawn;
        }

        var observation = With(Bare(reading, episode, status), Profiles.IrrigantInstilled, Codes.IrrigantInstilled(false), part.Amount is { } amount ? Wire.Quantity(amount) : null!);
        observation.Effective = Wire.Period(part.Start, part.End, episode.Definition.Frame.Zone);
        observation.DataAbsentReason = part.Amount is null ? Codes.DataAbsent("unknown") : null;
        return observation;
    }

    private static Observation Flow(FlowSet flow, Episode episode, ObservationStatus status)
    {
        if (flow.DropsPerMinute is not { } drops)
        {
            var rate = Codes.Quantity(Wire.Number(flow.Rate.MillilitresPerHour), Codes.Units.MillilitrePerHour);
            return With(Bare(flow, episode, status), Profiles.IrrigantFlowRate, Codes.IrrigantFlowRate(flow.Header.How == MeasuringWay.Pump), rate);
        }

        var counted = With(Bare(flow, episode, status), Profiles.IrrigantFlowRate, Codes.IrrigantDripRate(), Codes.Quantity(Wire.Number(drops), Codes.Units.DropsPerMinute));
        counted.Component = [new() { Code = Codes.Component("drop-factor"), Value = Codes.Quantity(Wire.Number(flow.DropFactor!.Value.DropsPerMillilitre), Codes.Units.DropsPerMillilitre) }];
        return counted;
    }

    private static Observation Drainage(Entry reading, Episode episode, ObservationStatus status, bool emptied, Quantity value)
    {
        var observation = With(Bare(reading, episode, status), Profiles.BladderDrainage, Codes.BladderDrainage(), value);
        observation.Component = [new() { Code = Codes.Component("container-emptied"), Value = new FhirBoolean(emptied) }];
        return observation;
    }

    private static Observation Weighed(DrainageWeighed weighed, Episode episode, ObservationStatus status)
    {
        var net = weighed.Tare is { } tare ? weighed.Gross - tare : weighed.Gross;
        var volume = net.At(weighed.GramsPerMillilitre ?? episode.Balance.Settings.DrainageDensity);
        var observation = Drainage(weighed, episode, status, weighed.Emptied, Wire.Quantity(volume));
        observation.Method ??= Codes.MeasuringWay(Slug.Of(MeasuringWay.Weighed));
        observation.Component.Add(new() { Code = Codes.Component("container-mass"), Value = Codes.Quantity(Wire.Number(net.Grams), Codes.Units.Gram) });
        return observation;
    }

    private static Observation Urine(UrineCollected urine, Episode episode, ObservationStatus status)
    {
        var route = Slug.Of(urine.Route);
        var observation = With(Bare(urine, episode, status), Profiles.UrineCollected, Codes.UrineCollected(route), Wire.Quantity(urine.Amount));
        observation.Method = Codes.UrineRoute(route);
        return observation;
    }
}
