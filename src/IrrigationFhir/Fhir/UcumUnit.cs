namespace IrrigationFhir.Fhir;

/// <summary>A unit of measure at the wire.</summary>
/// <param name="Code">UCUM code, case-sensitive. Many servers compare it as a string, so there is one spelling of each.</param>
/// <param name="Text">How the unit is shown to people.</param>
internal readonly record struct UcumUnit(string Code, string Text);
