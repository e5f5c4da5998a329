using System.Text.Json;

namespace IrrigationFhir;

/// <summary>Reads a text out of JSON whose shape nobody has checked yet.</summary>
internal static class JsonText
{
    /// <summary>The text of a property; null where this is no object, or has no text of that name.</summary>
    public static string? TextOf(this JsonElement json, string name) =>
        json.ValueKind == JsonValueKind.Object && json.TryGetProperty(name, out var value) && value.ValueKind == JsonValueKind.String
            ? value.GetString()
            : null;
}
