using Hl7.Fhir.Model;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Episodes;
using IrrigationFhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>What was measured at the bedside, one Observation an entry.</summary>
internal sealed class EntryMapper(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;
    private Codes Codes { get; } = vocabulary.Codes;
    private SentObservation SentObservation { get; } = new(vocabulary);

    /// <summary>The slug of the profile that an entry is published under; null for one that is kept and not published.</summary>
    /// <remarks>
    /// Irrigant that was discarded and blood that was removed are kept and not published: no vocabulary that we have verified has a code
    /// for either, and what they do to the output is said by the output's own terms.
    /// </remarks>
    public static string? SlugOf(Entry entry) =>
        entry switch
        {
            { Header.Purpose: not Purpose.Clinical } => null,
            IrrigantInstilled or BagRead or BagTakenDown or PumpTotalRead => "irrigant-instilled",
            FlowSet => "irrigant-flow-rate",
            DrainageEmptied or DrainageLevelRead or DrainageWeighed => "bladder-drainage",
            UrineCollected => "urine-collected",
            LeakEstimated => "leak-estimated",
            BladderScanned => "bladder-scan-volume",
            BladderPalpated => "bladder-palpation",
            DrainageAppearance => "drainage-appearance",
            ToleranceNoted => "tolerance",
            WeightMeasured => "body-weight",
            _ => null,
        };

    /// <summary>The id of the resource that an entry is published as; null for one that is not published.</summary>
    public static string? IdOf(Episode episode, Entry entry) =>
        SlugOf(entry) is { } slug ? FhirValues.EntryId(episode.Id, slug, entry.Key) : null;

    /// <summary>The status of the Observation of an entry that stands.</summary>
    public static ObservationStatus StatusOf(Episode episode, Entry entry) =>
        episode.Log.IsCorrected(entry.Key) ? ObservationStatus.Corrected : ObservationStatus.Final;

    /// <summary>The Observation of an entry; null for one that is not published, or (a first reading) measures nothing yet.</summary>
    public Observation? ToObservation(Entry entry, Episode episode, ObservationStatus status) =>
        SentObservation.Beside(Marked(InOurWords(entry, episode, status), entry, episode, status), entry, episode);

    /// <summary>The Observation as sent; null where ours is the one, or nothing came as an Observation.</summary>
    public Observation? AsSent(Entry entry, Episode episode, bool withdrawn) =>
        SentObservation.Of(entry) is { } sent
            ? SentObservation.AsSent(
                Bare(entry, episode, withdrawn ? ObservationStatus.EnteredInError : sent.Status!.Value),
                entry,
                episode
            )
            : null;

    /// <summary>Says on an Observation that what was charted is implausible: coded, and in words.</summary>
    private Observation? Marked(Observation? observation, Entry entry, Episode episode, ObservationStatus status)
    {
        if (observation is null || status == ObservationStatus.EnteredInError)
            return observation;
        if (ImplausibleEntries.Of(entry, episode.Balance) is not { } doubt)
            return observation;
        var caveat = doubt.Kind == DoubtKind.ImplausibleFlow ? Caveat.ImplausibleFlow : Caveat.ImplausibleVolume;
        observation.Component.Add(new() { Code = Codes.Component("caveat"), Value = Codes.Briefly(Codes.Caveat(Slug.Of(caveat), null)) });
        observation.Note.Add(new() { Text = Texts.Implausible(doubt.Says) });
        return observation;
    }

    private Observation? InOurWords(Entry entry, Episode episode, ObservationStatus status) =>
        entry switch
        {
            { Header.Purpose: not Purpose.Clinical } => null,
            IrrigantInstilled e => With(
                Bare(e, episode, status),
                Profiles.IrrigantInstilled,
                Codes.IrrigantInstilled(e.Header.How == MeasuringWay.Estimate),
                FhirValues.Quantity(e.Amount)
            ),
            BagRead or BagTakenDown or PumpTotalRead => Measured(entry, episode, status),
            FlowSet e => Flow(e, episode, status),
            DrainageEmptied e => Drainage(e, episode, status, emptied: true, FhirValues.Quantity(e.Drained)),
            DrainageLevelRead e => Drainage(e, episode, status, emptied: false, FhirValues.Quantity(e.Level)),
            DrainageWeighed e => Weighed(e, episode, status),
            UrineCollected e => Urine(e, episode, status),
            LeakEstimated e => With(Bare(e, episode, status), Profiles.LeakEstimated, Codes.LeakEstimated(), FhirValues.Quantity(e.Amount)),
            BladderScanned e => With(
                Bare(e, episode, status),
                Profiles.BladderScanVolume,
                Codes.BladderScanVolume(),
                FhirValues.Quantity(e.Held)
            ),
            BladderPalpated e => Palpated(e, episode, status),
            DrainageAppearance e => Appearance(e, episode, status),
            ToleranceNoted e => Tolerance(e, episode, status),
            WeightMeasured e => Weight(e, episode, status),
            _ => null,
        };

    /// <summary>What every Observation of an entry says.</summary>
    public Observation Bare(Entry entry, Episode episode, ObservationStatus status)
    {
        var zone = episode.Definition.Frame.Zone;
        return new()
        {
            Id = IdOf(episode, entry),
            Identifier = [FhirValues.Identifier(entry.Key, Profiles)],
            PartOf = [BladderIrrigationMapper.Whole(episode)],
            Status = status,
            Category = Codes.FluidCategories(),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Effective = entry.Header.From is { } from
                ? FhirValues.Period(from, entry.At, zone)
                : new FhirDateTime(FhirValues.Time(entry.At, zone)),
            Performer = FhirValues.Named(entry.Header.Performer) is { } performer ? [performer] : [],
            Device = FhirValues.Named(entry.Header.Device),
            Method = entry.Header.How is { } how ? Codes.Briefly(Codes.MeasuringWay(Slug.Of(how))) : null,
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
    private Observation? Measured(Entry reading, Episode episode, ObservationStatus status)
    {
        if (episode.Balance.MeasuredBy(reading) is not { } part)
        {
            if (status != ObservationStatus.EnteredInError)
                return null;
            var withdrawn = With(Bare(reading, episode, status), Profiles.IrrigantInstilled, Codes.IrrigantInstilled(false), null!);
            withdrawn.DataAbsentReason = Codes.DataAbsent("error");
            return withdrawn;
        }

        var observation = With(
            Bare(reading, episode, status),
            Profiles.IrrigantInstilled,
            Codes.IrrigantInstilled(false),
            part.Amount is { } amount ? FhirValues.Quantity(amount) : null!
        );
        observation.Effective = FhirValues.Period(part.Start, part.End, episode.Definition.Frame.Zone);
        observation.DataAbsentReason = part.Amount is null ? Codes.DataAbsent("unknown") : null;
        return observation;
    }

    private Observation Flow(FlowSet flow, Episode episode, ObservationStatus status)
    {
        if (flow.DropsPerMinute is not { } drops)
        {
            var rate = Codes.Quantity(FhirValues.Number(flow.Rate.MillilitresPerHour), Codes.Units.MillilitrePerHour);
            return With(
                Bare(flow, episode, status),
                Profiles.IrrigantFlowRate,
                Codes.IrrigantFlowRate(flow.Header.How == MeasuringWay.Pump),
                rate
            );
        }

        var counted = With(
            Bare(flow, episode, status),
            Profiles.IrrigantFlowRate,
            Codes.IrrigantDripRate(),
            Codes.Quantity(FhirValues.Number(drops), Codes.Units.DropsPerMinute)
        );
        counted.Component =
        [
            new()
            {
                Code = Codes.Component("drop-factor"),
                Value = Codes.Quantity(FhirValues.Number(flow.DropFactor!.Value.DropsPerMillilitre), Codes.Units.DropsPerMillilitre),
            },
        ];
        return counted;
    }

    private Observation Drainage(Entry reading, Episode episode, ObservationStatus status, bool emptied, Quantity value)
    {
        var observation = With(Bare(reading, episode, status), Profiles.BladderDrainage, Codes.BladderDrainage(), value);
        observation.Component = [new() { Code = Codes.Component("container-emptied"), Value = new FhirBoolean(emptied) }];
        return observation;
    }

    private Observation Weighed(DrainageWeighed weighed, Episode episode, ObservationStatus status)
    {
        var net = weighed.Tare is { } tare ? weighed.Gross - tare : weighed.Gross;
        var volume = net.At(weighed.GramsPerMillilitre ?? episode.Balance.Settings.DrainageDensity);
        var observation = Drainage(weighed, episode, status, weighed.Emptied, FhirValues.Quantity(volume));
        observation.Method ??= Codes.Briefly(Codes.MeasuringWay(Slug.Of(MeasuringWay.Weighed)));
        observation.Component.Add(
            new() { Code = Codes.Component("container-mass"), Value = Codes.Quantity(FhirValues.Number(net.Grams), Codes.Units.Gram) }
        );
        return observation;
    }

    private Observation Urine(UrineCollected urine, Episode episode, ObservationStatus status)
    {
        var route = Slug.Of(urine.Route);
        var observation = With(
            Bare(urine, episode, status),
            Profiles.UrineCollected,
            Codes.UrineCollected(route),
            FhirValues.Quantity(urine.Amount)
        );
        observation.Method = Codes.UrineRoute(route);
        return observation;
    }

    private Observation Palpated(BladderPalpated palpated, Episode episode, ObservationStatus status)
    {
        var observation = Seen(
            palpated,
            episode,
            status,
            Profiles.BladderPalpation,
            "bladder-palpation",
            [Yes("bladder-distended", palpated.Distended), Yes("bladder-tender", palpated.Tender)]
        );
        observation.BodySite = Codes.Bladder();
        return observation;
    }

    /// <remarks>A grade whose scale nobody named is kept and says so: on another scale the number means another colour.</remarks>
    private Observation Appearance(DrainageAppearance seen, Episode episode, ObservationStatus status) =>
        Seen(
            seen,
            episode,
            status,
            Profiles.DrainageAppearance,
            "drainage-appearance",
            [
                seen.Colour is { } colour ? new() { Code = Codes.DrainageColour(), Value = Codes.Colour(colour) } : null,
                seen.Grade is { } grade ? new() { Code = Codes.Component("colour-grade"), Value = new Integer(grade) } : null,
                seen.Scale is { } scale ? new() { Code = Codes.Component("colour-scale"), Value = new FhirString(scale) }
                : seen.Grade is not null ? new() { Code = Codes.Component("colour-scale"), DataAbsentReason = Codes.DataAbsent("unknown") }
                : null,
                seen.Clarity is { } clarity ? new() { Code = Codes.DrainageClarity(), Value = Codes.Clarity(clarity) } : null,
                seen.Clots is { } clots ? new() { Code = Codes.Component("drainage-clot-burden"), Value = Codes.Clots(clots) } : null,
                Yes("drainage-mucus", seen.Mucus),
                Yes("drainage-debris", seen.Sediment),
                Yes("drainage-odour", seen.Odour),
            ]
        );

    private Observation Tolerance(ToleranceNoted noted, Episode episode, ObservationStatus status)
    {
        var observation = Seen(
            noted,
            episode,
            status,
            Profiles.Tolerance,
            "procedure-tolerance",
            [
                noted.Pain is { } pain ? new() { Code = Codes.Pain(), Value = Codes.Quantity(pain, Codes.Units.Score) } : null,
                Yes("bladder-spasm", noted.Spasm),
            ]
        );
        if (noted.Tolerated is not { } tolerated)
            return observation;
        (observation.Value, observation.DataAbsentReason) = (Codes.Tolerance(tolerated ? "well" : "poor"), null);
        return observation;
    }

    private Observation Weight(WeightMeasured measured, Episode episode, ObservationStatus status)
    {
        var kind = Slug.Of(measured.Weight.Kind);
        var observation = With(
            Bare(measured, episode, status),
            Profiles.BodyWeight,
            Codes.BodyWeight(kind),
            FhirValues.Quantity(measured.Weight)
        );
        if (Codes.IsVitalSign(kind))
            observation.Meta!.Profile = [Profiles.BodyWeight, Profiles.CoreBodyWeight];
        (observation.Category, observation.Method) = (Codes.WeightCategory(kind), Codes.WeightKind(kind));
        return observation;
    }

    /// <summary>What was seen or felt; an entry that says nothing of it was not an assessment.</summary>
    private Observation Seen(
        Entry entry,
        Episode episode,
        ObservationStatus status,
        string profile,
        string slug,
        IEnumerable<Observation.ComponentComponent?> findings
    )
    {
        var observation = Bare(entry, episode, status);
        (observation.Meta, observation.Code, observation.Category, observation.Method) = (
            new() { Profile = [profile] },
            Codes.Observation(slug),
            Codes.ExamCategory(),
            null
        );
        observation.Component = [.. findings.OfType<Observation.ComponentComponent>()];
        if (observation.Component.Count == 0)
            observation.DataAbsentReason = Codes.DataAbsent("not-performed");
        return observation;
    }

    private Observation.ComponentComponent? Yes(string slug, bool? seen) =>
        seen is { } value ? new() { Code = Codes.Component(slug), Value = new FhirBoolean(value) } : null;
}
