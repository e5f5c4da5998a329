using System.Collections.Immutable;
using Irrigation.Episodes;
using Irrigation.Measures;

namespace Irrigation.Balance;

/// <summary>What is known of a way of measuring.</summary>
/// <param name="Correction">Known bias to take out, relative: the best value is the reading times (1 + this).</param>
/// <param name="Systematic">
/// Half width of the relative error that all readings of the same bag type, container, pump or scale share (rectangular).
/// </param>
/// <param name="Random">Half width in mL of the error that each reading has for itself (rectangular).</param>
/// <param name="RandomRelative">Half width of the relative error that each reading has for itself (rectangular).</param>
/// <param name="Source">Where the figures come from, or that they are our judgement.</param>
public sealed record MeasuringCharacter(
    [property: Setting(-0.5, 0.5)] decimal Correction,
    [property: Setting(0, 1)] decimal Systematic,
    [property: Setting(0, 2000, "mL")] decimal Random,
    [property: Setting(0, 1)] decimal RandomRelative,
    string Source
);

/// <summary>What was not measured and lies in a range.</summary>
/// <param name="Mean">Middle of the range, in mL.</param>
/// <param name="HalfWidth">Half width of the range, in mL (rectangular).</param>
public sealed record Supposed([property: Setting(0, 1000, "mL")] decimal Mean, [property: Setting(0, 1000, "mL")] decimal HalfWidth);

/// <summary>What a calibration found.</summary>
/// <param name="Factor">From label or reading to content.</param>
/// <param name="HalfWidth">Half width of the doubt about the factor (rectangular).</param>
public sealed record Calibration([property: Setting(0.5, 2)] decimal Factor, [property: Setting(0, 0.5)] decimal HalfWidth);

/// <summary>
/// The characters of the measuring ways. All are settings: a site that has calibrated its bags and containers puts its own figures here.
/// </summary>
public sealed record MeasuringCharacters
{
    /// <summary>The defaults.</summary>
    public static MeasuringCharacters Default { get; } = new();

    /// <summary>Irrigant by the bag's label. Overfill 1.5 to 6.0 %, never underfill.</summary>
    public MeasuringCharacter BagLabel { get; init; } = new(0.0375m, 0.0225m, 0, 0, "Nezhat, JMIG 2007;14:489 (maker's range of overfill)");

    /// <summary>
    /// Left in a bag that was run to empty: 0 to 60 mL, whatever was charted as 0. Our judgement, after IJPPS 2016 (under 2 % of the
    /// declared volume in most).
    /// </summary>
    public Supposed EmptyBagResidue { get; init; } = new(30, 30);

    /// <summary>
    /// In the tubing of the first bag, where nobody charted it: 20 to 100 mL. From published bore and length of irrigation sets; the packet
    /// says it.
    /// </summary>
    public Supposed UnchartedPrime { get; init; } = new(60, 40);

    /// <summary>What is left in a bag, read off its marks.</summary>
    public MeasuringCharacter BagGraduation { get; init; } =
        new(0, 0, 200, 0, "JKMS 2022;37:e345 (1 L bags: up to about 200 mL wrong); for larger bags our judgement");

    /// <summary>
    /// The part of that error, as variance, that all marks of one bag share: they are printed on it. Default 0.5; our judgement (marks
    /// depend on the maker, JKMS 2022;37:e345).
    /// </summary>
    [Setting(0, 1)]
    public decimal BagMarksShared { get; init; } = 0.5m;

    /// <summary>Counted by a pump.</summary>
    public MeasuringCharacter Pump { get; init; } = new(0, 0.05m, 0, 0, "±5 % from memory, as makers of volumetric pumps state it");

    /// <summary>Drawn up in a syringe.</summary>
    public MeasuringCharacter Syringe { get; init; } =
        new(0, 0, 0, 0.04m, "±4 % above half of the nominal capacity, ISO 7886-1, from memory");

    /// <summary>
    /// A flow charted in mL/h and not measured: off by about 12 % (standard uncertainty). Half of that, as variance, is shared by all
    /// settings of a line (the set, its height, whoever counts), half is of each setting.
    /// </summary>
    public MeasuringCharacter ChartedFlow { get; init; } =
        new(0, 0.15m, 0, 0.15m, "our judgement, about 12 % in all; a gravity drip slows as the bag empties (Anesth Pain Med 2025;20(3))");

    /// <summary>Counted drops.</summary>
    public MeasuringCharacter Drops { get; init; } =
        new(0, 0.10m, 0, 0, "our judgement; the volume of a drop varies by set (Anesth Pain Med 2025;20(3))");

    /// <summary>
    /// How far a count of drops over a minute may be off: half width (rectangular). Default 1 drop, one more or less at either end of the
    /// minute; our judgement.
    /// </summary>
    [Setting(0, 60, "{drop}/min")]
    public decimal DropCount { get; init; } = 1;

    /// <summary>Read off a drainage bag's marks.</summary>
    public MeasuringCharacter DrainageGraduation { get; init; } =
        new(
            0,
            0.05m,
            50,
            0,
            "our judgement: no paper measures ordinary drainage bags, and published analogues are worse (Gynecol Surg 2015)"
        );

    /// <summary>Urine read off a urine meter.</summary>
    public MeasuringCharacter UrineMeter { get; init; } =
        new(
            -0.0244m,
            0.005m,
            14.7m,
            0,
            "reads 2.4 to 2.6 % high (Crit Care 2012, cc10837); limits of agreement ±16.6 mL (Crit Care 2015, s13054-015-0899-4)"
        );

    /// <summary>Urine read off a jug or urinal.</summary>
    public MeasuringCharacter Jug { get; init; } = new(0, 0.05m, 25, 0, "our judgement");

    /// <summary>A return that was drawn back into a syringe: its marks, and froth and clots in it.</summary>
    public MeasuringCharacter ReturnSyringe { get; init; } =
        new(0, 0, 1, 0.04m, "±4 % as for a syringe that gives (ISO 7886-1, from memory), and ±1 mL for froth and clots, our judgement");

    /// <summary>A return read off a graduated basin or dish.</summary>
    public MeasuringCharacter Basin { get; init; } = new(0, 0.10m, 10, 0, "our judgement: marks stand far apart, and the level is wide");

    /// <summary>A return read off a measuring jug.</summary>
    public MeasuringCharacter ReturnJug { get; init; } = new(0, 0.05m, 10, 0, "our judgement: a jug of 1 L with marks of 10 to 25 mL");

    /// <summary>A return that was weighed in a small vessel.</summary>
    public MeasuringCharacter SmallScale { get; init; } = new(0, 0, 2, 0, "±2 g, our judgement: a bench scale with steps of 1 g");

    /// <summary>Weighed: the scale's gain, and its reading in g.</summary>
    public MeasuringCharacter Scale { get; init; } =
        new(0, 0, 5, 0, "±5 g: clinical reference 3.3; no gain error is assumed where none is known");

    /// <summary>Half width of the density of drainage where it is charted. Default 0.002 g/mL (clinical reference 3.3).</summary>
    [Setting(0, 0.1, "g/mL")]
    public decimal ChartedDensityHalfWidth { get; init; } = 0.002m;

    /// <summary>Half width of the density of drainage where the default is taken. Default 0.005 g/mL; our judgement.</summary>
    [Setting(0, 0.1, "g/mL")]
    public decimal DefaultDensityHalfWidth { get; init; } = 0.005m;

    /// <summary>A bladder scan.</summary>
    public MeasuringCharacter Scan { get; init; } = new(0, 0, 15, 0.15m, "±15 % and ±15 mL from memory, as makers state it");

    /// <summary>Judged by eye.</summary>
    public MeasuringCharacter Eye { get; init; } = new(0, 0, 0, 0.50m, "our judgement");

    /// <summary>
    /// How far the flow may drift within a stretch of which only the total is known, relative (rectangular). Default 0.4; our judgement.
    /// </summary>
    [Setting(0, 1)]
    public decimal UnchartedFlowDrift { get; init; } = 0.40m;

    /// <summary>The same where the flow is charted. Default 0.1; our judgement: a drip slows as the bag empties, and is set anew.</summary>
    [Setting(0, 1)]
    public decimal ChartedFlowDrift { get; init; } = 0.10m;

    /// <summary>
    /// Standard uncertainty of the time at which a reading between two readings of the irrigant was taken. Default 2.5 min: between
    /// charting to the minute and charting off by 3 min, so that the intervals hold in either; our judgement (Crit Care 2015 has limits of
    /// agreement of ±23.9 min round an hourly reading). A device that reads has no such doubt.
    /// </summary>
    [Setting(0, 60, "min")]
    public decimal ReadingTime { get; init; } = 2.5m;

    /// <summary>
    /// The urine that drains beside the irrigant in those minutes. Default 60 mL/h (worked examples of clinical reference 1.9 and 1.10);
    /// our judgement.
    /// </summary>
    [Setting(0, 1000, "mL/h")]
    public decimal UrineMeanwhile { get; init; } = 60;

    /// <summary>
    /// How far urine production may drift within a closed interval, relative (rectangular): the doubt of apportioning. Default 0.5; our
    /// judgement.
    /// </summary>
    [Setting(0, 1)]
    public decimal UrineDrift { get; init; } = 0.50m;

    /// <summary>
    /// Up to where nothing can be read off a urine meter or jug: a reading is wrong by no more than itself and this. Default 5 mL, the
    /// first mark (common practice, no source).
    /// </summary>
    [Setting(0, 100, "mL")]
    public decimal FirstMark { get; init; } = 5;

    /// <summary>Bag types that were calibrated, by the type that the entries name.</summary>
    public ImmutableSortedDictionary<string, Calibration> CalibratedBagTypes { get; init; } =
        ImmutableSortedDictionary<string, Calibration>.Empty;

    /// <summary>Drainage containers that were calibrated, by the name that the entries give them.</summary>
    public ImmutableSortedDictionary<string, Calibration> CalibratedContainers { get; init; } =
        ImmutableSortedDictionary<string, Calibration>.Empty;

    /// <summary>What a hung bag holds, by its label.</summary>
    public Measured Labelled(Volume labelled, string? bagType)
    {
        var calibrated =
            bagType is not null && CalibratedBagTypes.TryGetValue(bagType, out var found)
                ? found
                : new(1 + BagLabel.Correction, BagLabel.Systematic);
        return new(
            labelled,
            labelled * calibrated.Factor,
            ErrorBudget.Of(
                new("overfill of bag type", bagType ?? "unknown"),
                ErrorBudget.Rectangular(calibrated.HalfWidth) * labelled.Millilitres
            )
        );
    }

    /// <summary>What was left in a bag when it was read or taken down.</summary>
    /// <param name="remaining">As charted.</param>
    /// <param name="reading">Of the reading.</param>
    /// <param name="bag">The bag: its marks share a part of their error.</param>
    public Measured Left(Volume remaining, EntryHeader reading, EntryKey bag)
    {
        if (reading.How is MeasuringWay.Weighed or MeasuringWay.Estimate)
            return Read(remaining, Of(reading.How.Value), reading.Key, ScaleName(reading));
        return remaining == Volume.Zero
            ? new(
                remaining,
                Volume.FromMillilitres(EmptyBagResidue.Mean),
                ErrorBudget.Of(Of("residue", reading.Key), ErrorBudget.Rectangular(EmptyBagResidue.HalfWidth))
            )
            : OffMarks(remaining, reading.Key, bag);
    }

    private Measured OffMarks(Volume remaining, EntryKey reading, EntryKey bag)
    {
        var all = Math.Sqrt((double)BagMarksShared);
        var own = Math.Sqrt(1 - (double)BagMarksShared);
        var error = ErrorBudget.Rectangular(BagGraduation.Random + (BagGraduation.RandomRelative * Math.Abs(remaining.Millilitres)));
        var budget = ErrorBudget.OfDifferent(
            (Of("reading", reading), error * (decimal)own),
            (Of("marks of bag", bag), error * (decimal)all),
            (Of("scale of", bag), ErrorBudget.Rectangular(BagGraduation.Systematic) * remaining.Millilitres)
        );
        return new(remaining, remaining * (1 + BagGraduation.Correction), budget);
    }

    /// <summary>
    /// What a total of irrigant stands for; without a way it is taken as the bag's label, an aliquot as drawn up in a syringe.
    /// </summary>
    public Measured Total(IrrigantInstilled total)
    {
        var way = total.Header.How ?? (total.IsAliquot ? MeasuringWay.Syringe : MeasuringWay.Label);
        return way switch
        {
            MeasuringWay.Graduation when total.IsAliquot => Read(total.Amount, OffAMark(ReturnJug, total.Amount), total.Key, null),
            MeasuringWay.Label => Labelled(total.Amount, null)
                - new Measured(
                    Volume.Zero,
                    Volume.FromMillilitres(EmptyBagResidue.Mean),
                    ErrorBudget.Of(Of("residue", total.Key), ErrorBudget.Rectangular(EmptyBagResidue.HalfWidth))
                ),
            MeasuringWay.Graduation => Read(total.Amount, BagGraduation, total.Key, null),
            MeasuringWay.Drops => Read(total.Amount, Drops, total.Key, new("drops on line", total.Line)),
            MeasuringWay.Pump => Read(total.Amount, Pump, total.Key, new("pump on line", total.Line)),
            MeasuringWay.Weighed or MeasuringWay.Syringe or MeasuringWay.Estimate or MeasuringWay.Scan => Read(
                total.Amount,
                Of(way),
                total.Key,
                ScaleName(total.Header)
            ),
        };
    }

    /// <summary>What a difference of a pump's counter stands for.</summary>
    public Measured Counted(Volume difference, PumpTotalRead reading) =>
        Read(difference, Pump, reading.Key, new("pump on line", reading.Line));

    /// <summary>What a flow makes of a time.</summary>
    public Measured Ran(Volume ran, FlowSet flow)
    {
        return Read(ran, Of(flow), flow.Key, new("flow on line", flow.Line));
    }

    /// <summary>
    /// How far a charted flow may be off: relative standard uncertainties, of all flows of its line together and of itself alone.
    /// </summary>
    internal (double Shared, double Own) FlowDoubt(FlowSet flow)
    {
        var character = Of(flow);
        return ((double)ErrorBudget.Rectangular(character.Systematic), (double)ErrorBudget.Rectangular(character.RandomRelative));
    }

    private MeasuringCharacter Of(FlowSet flow) =>
        flow.Header.How == MeasuringWay.Pump ? Pump
        : flow.DropsPerMinute is not null || flow.Header.How == MeasuringWay.Drops ? Drops
        : ChartedFlow;

    /// <summary>What a container's content was, and so what it adds to the reading before.</summary>
    public Measured Content(Volume content, Entry reading, string container)
    {
        if (reading is DrainageWeighed weighed)
            return Weighed(content, weighed, container);
        var vessel = VesselOf(reading, container);
        if (reading.Header.How is MeasuringWay.Weighed && vessel is not Vessel.DrainageBag)
            return Read(content, SmallScale, reading.Key, ScaleName(reading.Header));
        if (reading.Header.How is MeasuringWay.Weighed or MeasuringWay.Estimate)
            return Read(content, Of(reading.Header.How.Value), reading.Key, ScaleName(reading.Header));
        if (vessel is Vessel.Syringe)
            return Read(content, OffAMark(ReturnSyringe, content), reading.Key, null);
        if (vessel is Vessel.Basin or Vessel.Jug && !CalibratedContainers.ContainsKey(container))
        {
            var character = vessel is Vessel.Basin ? Basin : ReturnJug;
            return Read(content, OffAMark(character, content), reading.Key, new("scale of container", container));
        }

        return CalibratedContainers.TryGetValue(container, out var known)
            ? new Measured(
                content,
                content * known.Factor,
                ErrorBudget.Of(new("scale of container", container), ErrorBudget.Rectangular(known.HalfWidth) * content.Millilitres)
            ).Doubting(Of("reading", reading.Key), ErrorBudget.Rectangular(OffAMark(DrainageGraduation, content).Random))
            : Read(content, OffAMark(DrainageGraduation, content), reading.Key, new("scale of container", container));
    }

    /// <summary>
    /// What drainage was measured in: as charted; drawn back into a syringe where that is how it was measured; by a container that is
    /// called basin, jug or syringe; else the drainage bag.
    /// </summary>
    public static Vessel VesselOf(Entry reading, string container)
    {
        var said = reading switch
        {
            DrainageEmptied e => e.Vessel,
            DrainageLevelRead e => e.Vessel,
            DrainageWeighed e => e.Vessel,
            _ => null,
        };
        return said
            ?? (reading.Header.How is MeasuringWay.Syringe ? Vessel.Syringe : Slug.Read<Vessel>(container.ToLowerInvariant()))
            ?? Vessel.DrainageBag;
    }

    /// <summary>What urine collected stands for.</summary>
    public Measured Urine(UrineCollected urine)
    {
        var way = urine.Header.How ?? MeasuringWay.Graduation;
        var meter = urine.Route is UrineRoute.UrethralCatheter or UrineRoute.SuprapubicCatheter;
        return way == MeasuringWay.Graduation
            ? Read(urine.Amount, OffAMark(meter ? UrineMeter : Jug, urine.Amount), urine.Key, new("scale of", Slug.Of(urine.Route)))
            : Read(urine.Amount, Of(way), urine.Key, ScaleName(urine.Header));
    }

    /// <summary>What a leak stands for: judged by eye unless told otherwise.</summary>
    public Measured Leak(LeakEstimated leak) =>
        Read(leak.Amount, Of(leak.Header.How ?? MeasuringWay.Estimate), leak.Key, ScaleName(leak.Header));

    /// <summary>What was spilt or discarded of the irrigant: judged by eye unless told otherwise.</summary>
    public Measured Discarded(IrrigantDiscarded discarded) =>
        Read(discarded.Amount, Of(discarded.Header.How ?? MeasuringWay.Estimate), discarded.Key, ScaleName(discarded.Header));

    /// <summary>What blood and clots were removed: weighed where a mass is charted, judged by eye unless told otherwise.</summary>
    public Measured Blood(BloodRemoved blood)
    {
        var way = blood.Header.How ?? (blood.Mass is null ? MeasuringWay.Estimate : MeasuringWay.Weighed);
        return Read(blood.Amount, Of(way), blood.Key, ScaleName(blood.Header));
    }

    /// <summary>What a scan says is held.</summary>
    public Measured Held(BladderScanned scan) => Read(scan.Held, Scan, scan.Key, null);

    private static Measured Read(Volume reading, MeasuringCharacter character, EntryKey key, ErrorSource? shared)
    {
        var own = ErrorBudget.Rectangular(character.Random + (character.RandomRelative * Math.Abs(reading.Millilitres)));
        var budget = ErrorBudget.OfDifferent(
            (Of("reading", key), own),
            (shared ?? Of("scale of", key), ErrorBudget.Rectangular(character.Systematic) * reading.Millilitres)
        );
        return new(reading, reading * (1 + character.Correction), budget);
    }

    /// <summary>What holds nothing was not misread by tens of millilitres: an empty meter is a measured nothing.</summary>
    private MeasuringCharacter OffAMark(MeasuringCharacter character, Volume reading) =>
        character with
        {
            Random = Math.Min(character.Random, Math.Abs(reading.Millilitres) + FirstMark),
        };

    private static ErrorSource ScaleName(EntryHeader header) => new("weighing scale", header.Device ?? "of the ward");

    private static ErrorSource Of(string what, EntryKey key) => new(what, key.Source, key.Id);

    private MeasuringCharacter Of(MeasuringWay way) =>
        way switch
        {
            MeasuringWay.Label => BagLabel,
            MeasuringWay.Graduation => Jug,
            MeasuringWay.Weighed => Scale,
            MeasuringWay.Pump => Pump,
            MeasuringWay.Syringe => Syringe,
            MeasuringWay.Drops => Drops,
            MeasuringWay.Scan => Scan,
            MeasuringWay.Estimate => Eye,
        };

    private Measured Weighed(Volume content, DrainageWeighed weighed, string container)
    {
        var density = weighed.GramsPerMillilitre;
        var scale = VesselOf(weighed, container) is Vessel.DrainageBag ? Scale : SmallScale;
        var half = density is null ? DefaultDensityHalfWidth : ChartedDensityHalfWidth;
        var errors = ErrorBudget.OfDifferent(
            (Of("reading", weighed.Key), ErrorBudget.Rectangular(scale.Random)),
            (new("density in container", container), ErrorBudget.Rectangular(half) * content.Millilitres),
            (ScaleName(weighed.Header), ErrorBudget.Rectangular(scale.Systematic) * content.Millilitres)
        );
        return new(content, content, errors);
    }
}
