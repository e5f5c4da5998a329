using Hl7.Fhir.Model;
using Irrigation.Balance;
using Irrigation.Measures;

namespace IrrigationFhir.Fhir;

/// <summary>
/// How exact the numbers of one computed Observation are given: to the second digit of the standard uncertainty (JCGM 100:2008, 7.2.6), and
/// never coarser than 1 mL. What is stored, and worked with, stays exact.
/// </summary>
/// <param name="codes">Our codes.</param>
/// <param name="decimals">Of a volume in mL.</param>
internal readonly struct Precision(Codes codes, int decimals)
{
    /// <summary>That of an output; to the millilitre where its doubts are not known.</summary>
    public static Precision Of(Codes codes, UrineOutput? output) =>
        new(codes, FhirValues.Decimals(output?.BestEstimate?.StandardUncertainty.Millilitres));

    /// <summary>A volume in mL, or, of exactly so many hours, in the unit of that time.</summary>
    public Quantity? Quantity(Volume? volume, UcumUnit? unit = null) =>
        volume is { } known ? Codes.Quantity(FhirValues.Number(known.Millilitres, decimals), unit ?? Codes.Units.Millilitre) : null;

    private Quantity? Part(Volume? volume) =>
        volume is { } known ? FhirValues.Part(FhirValues.Number(known.Millilitres, decimals), Codes.Units.Millilitre) : null;

    /// <summary>A term of the balance, or why it is missing.</summary>
    public Observation.ComponentComponent Term(string slug, Volume? volume, AbsentReason absent) =>
        new()
        {
            Code = codes.Component(slug),
            Value = Part(volume),
            DataAbsentReason = volume is null ? CorrectedUrineOutputMapper.Absent(absent) : null,
        };

    /// <summary>A term where there is one.</summary>
    public IEnumerable<Observation.ComponentComponent> Known(string slug, Volume? volume) =>
        volume is null ? [] : [new() { Code = codes.Component(slug), Value = Part(volume) }];

    /// <summary>
    /// The best estimate with its standard uncertainty on its Quantity, and the 95 % interval; nothing where its doubts are not known.
    /// </summary>
    public IEnumerable<Observation.ComponentComponent> Uncertainty(UrineOutput? output)
    {
        if (output?.BestEstimate is not { } best || output.Interval95 is not { } interval)
            return [];
        var quantity = Part(best.Value)!;
        quantity.Extension.Add(Codes.Uncertainty(FhirValues.Uncertainty(best.StandardUncertainty.Millilitres)));
        return
        [
            new() { Code = codes.Component("best-estimate"), Value = quantity },
            new()
            {
                Code = codes.Component("interval-95"),
                Value = new Hl7.Fhir.Model.Range { Low = Part(interval.Low), High = Part(interval.High) },
            },
        ];
    }
}
