using System.Text.Json;

namespace IrrigationFhir.Intake;

/// <summary>A request to write one Observation.</summary>
/// <param name="Resource">The Observation.</param>
/// <param name="At">Its path: <c>Observation</c>, or <c>Bundle.entry[3].resource</c>.</param>
/// <param name="Id">The id in the address, for an update; null creates.</param>
/// <param name="IfMatch">The version that is to be replaced, as <c>W/"3"</c>, where the sender says so.</param>
/// <param name="IfNoneExist">The search that must find nothing, where the sender says so.</param>
internal sealed record Write(JsonElement Resource, string At, string? Id, string? IfMatch, string? IfNoneExist);
