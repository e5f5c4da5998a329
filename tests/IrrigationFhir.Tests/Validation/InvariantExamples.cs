using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Tests.Validation;

/// <summary>
/// An invariant on one profile, proved twice: by a resource that keeps it where it has something to say, and by one that breaks it and
/// nothing else.
/// </summary>
/// <param name="Slug">The profile.</param>
/// <param name="Key">The invariant.</param>
/// <param name="Keeps">A valid resource.</param>
/// <param name="Breaks">A resource with this fault alone.</param>
internal sealed record InvariantExample(string Slug, string Key, Func<Resource> Keeps, Func<Resource> Breaks)
{
    public override string ToString() => $"{Slug} {Key}";
}

/// <summary>The list of all invariants on all profiles. A new one is a line here, or <see cref="InvariantTests"/> fails.</summary>
internal static class InvariantExamples
{
    private static Codes Codes => Ours.Codes;

    private static readonly Coding Elsewhere = new("https://ward.example/codes", "of-the-ward");

    public static IReadOnlyList<InvariantExample> All { get; } =
    [
        ReasonForValue("irrigant-instilled"),
        Unit("irrigant-instilled"),
        On(
            "irrigant-instilled",
            "ii-estimated",
            bag => (bag.Code, bag.Method) = (Codes.IrrigantInstilled(estimated: true), Codes.MeasuringWay("estimate")),
            bag => bag.Method = Codes.MeasuringWay("estimate")
        ),
        ReasonForValue("irrigant-flow-rate"),
        Unit("irrigant-flow-rate"),
        On(
            "irrigant-flow-rate",
            "ifr-unit",
            flow =>
                (flow.Code, flow.Value, flow.Component) = (
                    Codes.IrrigantFlowRate(pumpDriven: false),
                    Codes.Quantity(300, Codes.Units.MillilitrePerHour),
                    []
                ),
            flow => flow.Value = Codes.Quantity(300, Codes.Units.MillilitrePerHour)
        ),
        On("irrigant-flow-rate", "ifr-drop-factor", _ => { }, flow => flow.Component.Clear()),
        ReasonForValue("bladder-drainage"),
        ReasonForComponent("bladder-drainage", "container-mass"),
        Unit("bladder-drainage"),
        On("bladder-drainage", "bd-standard-codes", _ => { }, drained => drained.Code!.Coding[1] = Elsewhere),
        On(
            "bladder-drainage",
            "bd-not-urine",
            drained => drained.Code!.Coding.Add(Elsewhere),
            drained => drained.Code!.Coding.Add(Codes.CorrectedUrineOutput().Coding[0])
        ),
        ReasonForValue("urine-collected"),
        Unit("urine-collected"),
        On(
            "urine-collected",
            "uc-route-code",
            urine => (urine.Code, urine.Method) = (Codes.UrineCollected("void"), Codes.UrineRoute("void")),
            urine =>
            {
                (urine.Code, urine.Method) = (Codes.UrineCollected("void"), Codes.UrineRoute("void"));
                urine.Code.Coding.Insert(0, Codes.CorrectedUrineOutput().Coding[0]);
            }
        ),
        ReasonForValue("leak-estimated"),
        Unit("leak-estimated"),
        ReasonForValue("bladder-scan-volume"),
        Unit("bladder-scan-volume"),
        On("bladder-scan-volume", "bsv-loinc", _ => { }, scan => scan.Code!.Coding[0] = Elsewhere),
        On(
            "corrected-urine-output",
            "ifh-value-or-reason",
            Withheld,
            output =>
            {
                Withheld(output);
                output.DataAbsentReason = null;
            }
        ),
        ReasonForComponent("corrected-urine-output", "bladder-drainage-total"),
        On(
            "corrected-urine-output",
            "cuo-covered",
            Covered3Hours,
            output =>
            {
                // 92.5 mL of three hours as the output of a day: an EHR reads anuria.
                Covered3Hours(output);
                (output.Value, output.DataAbsentReason) = (Codes.Quantity(92.5m, Codes.Units.Millilitre), null);
            }
        ),
        On(
            "corrected-urine-output",
            "cuo-one-series",
            output =>
            {
                // A closed interval of as many hours has 9187-6, and no code of a length.
                (output.Code, output.Value) = (Codes.CorrectedUrineOutput(), Codes.Quantity(450, Codes.Units.Millilitre));
                output.Category = Codes.OutputCategories("closed-interval");
            },
            output => output.Code!.Coding.Add(Codes.CorrectedUrineOutput().Coding[0])
        ),
        On(
            "corrected-urine-output",
            "cuo-window-code",
            output => (output.Code, output.Category) = (Codes.CorrectedUrineOutput("clock-hour", 8), Codes.OutputCategories("clock-hour")),
            output => output.Code = Codes.CorrectedUrineOutput("local-day", 8)
        ),
        On("corrected-urine-output", "cuo-derived-from", Withheld, output => output.DerivedFrom.Clear()),
        On(
            "corrected-urine-output",
            "cuo-timed-code",
            output =>
                (output.Status, output.Code, output.Value) = (
                    ObservationStatus.Preliminary,
                    Codes.CorrectedUrineOutput("shift", null),
                    Codes.Quantity(450, Codes.Units.Millilitre)
                ),
            output => output.Status = ObservationStatus.Preliminary
        ),
        On(
            "corrected-urine-output",
            "cuo-timed-length",
            output =>
            {
                // The night on which clocks go forward: 22:00 to 07:00 on the wall are eight hours.
                output.Effective = new Period(new FhirDateTime("2026-03-28T22:00:00+01:00"), new FhirDateTime("2026-03-29T07:00:00+02:00"));
            },
            output =>
                output.Effective = new Period(new FhirDateTime("2026-03-02T06:00:00+01:00"), new FhirDateTime("2026-03-02T13:30:00+01:00"))
        ),
        On(
            "corrected-urine-output",
            "cuo-timed-unit",
            output =>
                (output.Code, output.Value) = (Codes.CorrectedUrineOutput("shift", null), Codes.Quantity(450, Codes.Units.Millilitre)),
            output => output.Value = Codes.Quantity(450, Codes.Units.Millilitre)
        ),
        On(
            "corrected-urine-output",
            "cuo-interval",
            output => output.Component.RemoveAll(part => part.Code!.Coding[0].Code is "best-estimate" or "interval-95"),
            output =>
                output
                    .Component("best-estimate")
                    .Value!.Extension.RemoveAll(extension => extension.Url!.EndsWith("uncertainty", StringComparison.Ordinal))
        ),
        ReasonForComponents("drainage-appearance"),
        ReasonForComponent("drainage-appearance", "colour-scale"),
        On(
            "drainage-appearance",
            "da-scale",
            seen =>
                (seen.Component("colour-scale").Value, seen.Component("colour-scale").DataAbsentReason) = (
                    null,
                    Codes.DataAbsent("unknown")
                ),
            seen => seen.Component.Remove(seen.Component("colour-scale"))
        ),
        On("drainage-appearance", "da-standard-codes", _ => { }, seen => seen.Component("drainage-colour").Code!.Coding[1] = Elsewhere),
        ReasonForComponents("bladder-palpation"),
        ReasonForComponent("bladder-palpation", "bladder-distended"),
        ReasonForComponent("tolerance", "bladder-spasm"),
        On(
            "tolerance",
            "tol-said",
            noted => (noted.Value, noted.Component) = (null, noted.Component[..1]),
            noted => (noted.Value, noted.Component) = (null, [])
        ),
        On(
            "tolerance",
            "tol-pain",
            noted => ((Quantity)noted.Component("72514-3").Value!).Value = 0,
            noted => ((Quantity)noted.Component("72514-3").Value!).Value = 6.5m
        ),
        ReasonForValue("body-weight"),
        Unit("body-weight"),
        On(
            "body-weight",
            "bw-kind",
            weight => (weight.Code, weight.Method) = (Codes.BodyWeight("ideal"), Codes.WeightKind("ideal")),
            weight => weight.Method = Codes.WeightKind("ideal")
        ),
        On(
            "body-weight",
            "bw-above-zero",
            weight => ((Quantity)weight.Value!).Value = 0.45m,
            weight => ((Quantity)weight.Value!).Value = 0
        ),
        ReasonForValue("retained-volume"),
        ReasonForComponent("retained-volume", "retained-change"),
        On(
            "retained-volume",
            "rv-derived-from",
            held => (held.Value, held.DataAbsentReason, held.DerivedFrom) = (null, Codes.DataAbsent("unknown"), []),
            held => held.DerivedFrom.Clear()
        ),
        ReasonForValue("urine-output-rate"),
        ReasonForComponent("urine-output-rate", "urine-output-rate-per-weight"),
        On(
            "urine-output-rate",
            "uor-derived-from",
            rate => (rate.Value, rate.DataAbsentReason, rate.DerivedFrom) = (null, Codes.DataAbsent("unknown"), []),
            rate => rate.DerivedFrom.Clear()
        ),
        On(
            "urine-output-rate",
            "uor-weight",
            rate => rate.Component.RemoveAll(part => part.Code!.Coding[0].Code is "urine-output-rate-per-weight" or "weight-kind"),
            rate => rate.Component.Remove(rate.Component("weight-kind"))
        ),
        On(
            "urine-output-rate",
            "uor-no-standard-code",
            rate => rate.Code!.Coding.Add(Elsewhere),
            rate => rate.Code!.Coding.Add(Codes.CorrectedUrineOutput("clock-hour", 1).Coding[0])
        ),
        ReasonForValue("urine-output-criterion"),
        ReasonForComponent("urine-output-criterion", "criterion-value"),
        On(
            "urine-output-criterion",
            "uoc-obstacle",
            criterion =>
            {
                (criterion.Value, criterion.Component("met-period").Value) = (Codes.CriterionAnswer("not-evaluable"), Ended);
                criterion.Component.Add(Obstacle());
            },
            criterion => criterion.Component.Add(Obstacle())
        ),
        On(
            "urine-output-criterion",
            "uoc-met",
            criterion =>
            {
                // Polyuria is met above its threshold: 3200 mL, 3050 to 3350, over 3000 mL.
                criterion.Code = Codes.UrineOutputCriterion("polyuria");
                criterion.Component.RemoveAll(part => part.Code!.Coding[0].Code is "body-weight" or "weight-kind");
                criterion.Component("criterion-threshold").Value = Codes.Quantity(3000, Codes.Units.Millilitre);
                criterion.Component("criterion-value").Value = Codes.Quantity(3200, Codes.Units.Millilitre);
                criterion.Component("interval-95").Value = new Hl7.Fhir.Model.Range
                {
                    Low = Codes.Quantity(3050, Codes.Units.Millilitre),
                    High = Codes.Quantity(3350, Codes.Units.Millilitre),
                };
            },
            criterion => ((Hl7.Fhir.Model.Range)criterion.Component("interval-95").Value!).High!.Value = 0.52m
        ),
        On(
            "urine-output-criterion",
            "uoc-probability",
            criterion => criterion.Component("probability-met").Value = Codes.Quantity(0, Codes.Units.Percent),
            criterion => criterion.Component("probability-met").Value = Codes.Quantity(100.1m, Codes.Units.Percent)
        ),
        On(
            "urine-output-criterion",
            "uoc-unit",
            _ => { },
            criterion => criterion.Component("criterion-value").Value = Codes.Quantity(33.6m, Codes.Units.Millilitre)
        ),
        On("urine-output-criterion", "uoc-weight", _ => { }, criterion => criterion.Component.Remove(criterion.Component("weight-kind"))),
        On(
            "urine-output-criterion",
            "uoc-derived-from",
            criterion =>
            {
                (criterion.Value, criterion.DerivedFrom) = (Codes.CriterionAnswer("not-evaluable"), []);
                criterion.Component("met-period").Value = Ended;
                criterion.Component.Add(Obstacle());
            },
            criterion => criterion.DerivedFrom.Clear()
        ),
        On(
            "urine-output-criterion",
            "uoc-met-period",
            criterion => (criterion.Value, criterion.Component("met-period").Value) = (Codes.CriterionAnswer("not-met"), Ended),
            criterion => criterion.Value = Codes.CriterionAnswer("not-met")
        ),
        OnFlag(
            "fl-local-first",
            flag => flag.Code = Both(Codes.Flag("oliguria", "").Coding[0], Snomed("83128009")),
            flag => flag.Code = Both(Snomed("83128009"), Codes.Flag("oliguria", "").Coding[0])
        ),
        OnFlag(
            "fl-suspicion",
            flag => flag.Code = Both(Codes.Flag("clots-present", "").Coding[0], Snomed("34436003"), Snomed("75753009")),
            flag => flag.Code!.Coding.Add(Snomed("79315005"))
        ),
        OnFlag(
            "fl-period",
            flag => (flag.Status, flag.Period!.End) = (Flag.FlagStatus.Inactive, "2026-03-02T14:30:00+01:00"),
            flag => flag.Status = Flag.FlagStatus.Inactive
        ),
        new(
            "bladder-irrigation",
            "bi-started",
            () => Irrigation(i => (i.Status, i.Performed) = (EventStatus.Preparation, null)),
            () => Irrigation(i => i.Performed = null)
        ),
        new(
            "bladder-irrigation",
            "bi-kind",
            () => Irrigation(i => (i.Status, i.Performed, i.Code) = (EventStatus.NotDone, null, Codes.IrrigationProcedure(null))),
            () => Irrigation(i => i.Code = Codes.IrrigationProcedure(null))
        ),
        new(
            "bladder-irrigation",
            "bi-account",
            () =>
                Irrigation(i =>
                    i.Extension = [Account(new("time", Ended), new("instilled", Codes.Quantity(1200, Codes.Units.Millilitre)))]
                ),
            () => Irrigation(i => i.Extension = [Account(new Extension("instilled", Codes.Quantity(1200, Codes.Units.Millilitre)))])
        ),
        new(
            "correction",
            "co-versions",
            () => Judged.Example<Provenance>("correction"),
            () =>
            {
                var correction = Judged.Example<Provenance>("correction");
                correction.Target[0].Reference = "Observation/drainage-0001";
                return correction;
            }
        ),
        new(
            "handover",
            "ho-sections",
            () => Judged.Example<Composition>("handover"),
            () =>
            {
                var handover = Judged.Example<Composition>("handover");
                handover.Section.RemoveAt(1);
                return handover;
            }
        ),
    ];

    private static InvariantExample On(string slug, string key, Action<Observation> keep, Action<Observation> spoil) =>
        new(slug, key, () => Judged.Observation(slug, keep), () => Judged.Observation(slug, spoil));

    private static InvariantExample OnFlag(string key, Action<Flag> keep, Action<Flag> spoil)
    {
        Flag With(Action<Flag> change)
        {
            var flag = Judged.Example<Flag>("irrigation-flag");
            change(flag);
            return flag;
        }

        return new("irrigation-flag", key, () => With(keep), () => With(spoil));
    }

    private static Procedure Irrigation(Action<Procedure> change)
    {
        var irrigation = Judged.Example<Procedure>("bladder-irrigation");
        change(irrigation);
        return irrigation;
    }

    private static Extension Account(params Extension[] parts) => new() { Url = Ours.Profiles.IrrigationAccount, Extension = [.. parts] };

    private static InvariantExample ReasonForValue(string slug) =>
        On(
            slug,
            "ifh-value-or-reason",
            observation => (observation.Value, observation.DataAbsentReason) = (null, Codes.DataAbsent("temp-unknown")),
            observation => observation.Value = null
        );

    private static InvariantExample ReasonForComponents(string slug) =>
        On(
            slug,
            "ifh-component-or-reason",
            observation => (observation.Component, observation.DataAbsentReason) = ([], Codes.DataAbsent("not-performed")),
            observation => observation.Component.Clear()
        );

    private static InvariantExample ReasonForComponent(string slug, string component) =>
        On(
            slug,
            "ifh-component-value-or-reason",
            observation =>
                (observation.Component(component).Value, observation.Component(component).DataAbsentReason) = (
                    null,
                    Codes.DataAbsent("unknown")
                ),
            observation => observation.Component(component).Value = null
        );

    private static InvariantExample Unit(string slug) =>
        On(
            slug,
            "ifh-ucum",
            observation =>
                observation.Component.Add(
                    new() { Code = new("https://ward.example/codes", "spilt"), Value = Codes.Quantity(5, Codes.Units.Millilitre) }
                ),
            observation =>
                observation.Component.Add(
                    new() { Code = new("https://ward.example/codes", "spilt"), Value = new Quantity(5, "cc", Codes.Systems.Ucum) }
                )
        );

    private static void Withheld(Observation output)
    {
        (output.Value, output.DataAbsentReason, output.Code) = (
            null,
            Codes.DataAbsent("temp-unknown"),
            Codes.CorrectedUrineOutput("shift", null)
        );
        output.DerivedFrom.Clear();
    }

    private static void Covered3Hours(Observation output)
    {
        (output.Value, output.DataAbsentReason, output.Code) = (
            null,
            Codes.DataAbsent("not-performed"),
            Codes.CorrectedUrineOutput("shift", null)
        );
        output.Component.Add(new() { Code = Codes.Component("partial-volume"), Value = Codes.Quantity(92.5m, Codes.Units.Millilitre) });
        output.Component.Add(new() { Code = Codes.Component("covered-duration"), Value = Codes.Quantity(3, Codes.Units.Hour) });
    }

    private static Period Ended => new(new FhirDateTime("2026-03-02T12:00:00+01:00"), new FhirDateTime("2026-03-02T13:00:00+01:00"));

    private static Observation.ComponentComponent Obstacle() =>
        new() { Code = Codes.Component("obstacle"), Value = Codes.CriterionObstacle("gap") };

    private static Coding Snomed(string code) => new(Codes.Systems.Snomed, code);

    private static CodeableConcept Both(params Coding[] codings) => new() { Coding = [.. codings], Text = "Look at the patient" };
}
