using Irrigation.Measures;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Rest;

/// <summary>A quantity with its unit.</summary>
/// <param name="Value">To three decimals; any sign.</param>
/// <param name="Unit">In UCUM: mL, mL/h, mL/kg/h, h, kg, {drop}/min, {drop}/mL, %.</param>
internal sealed record Amount(decimal Value, string Unit)
{
    /// <summary>A flow in mL/h.</summary>
    public static Amount Of(FlowRate flow) => new(FhirValues.Number(flow.MillilitresPerHour), "mL/h");

    /// <summary>A volume in mL; null where unknown.</summary>
    public static Amount? Of(Volume? volume) => volume is { } known ? new(FhirValues.Number(known.Millilitres), "mL") : null;

    /// <summary>Elapsed time in hours.</summary>
    public static Amount Of(NodaTime.Duration time) => new(FhirValues.Quantity(time).Value!.Value, "h");
}

/// <summary>Both ends of an interval.</summary>
/// <param name="Low">The lower end.</param>
/// <param name="High">The upper end.</param>
internal sealed record RangeReport(Amount Low, Amount High);
