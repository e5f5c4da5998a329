using System.ComponentModel;
using System.Text.Json.Serialization;

namespace IrrigationFhir.Rest;

/// <summary>A value with its UCUM unit.</summary>
[JsonUnmappedMemberHandling(JsonUnmappedMemberHandling.Disallow)]
internal sealed record QuantityDocument
{
    [Description("The number, 0 or more: only a derived output may be negative.")]
    public required decimal Value { get; init; }

    [Description("A UCUM unit, from the closed list for its place.")]
    public required string Unit { get; init; }
}
