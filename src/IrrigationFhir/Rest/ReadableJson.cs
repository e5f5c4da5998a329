using System.Text.Encodings.Web;
using System.Text.Json;

namespace IrrigationFhir.Rest;

/// <summary>JSON that people can read too.</summary>
internal static class ReadableJson
{
    /// <summary>For a file or a terminal: the JSON of the API, a property a line.</summary>
    public static JsonSerializerOptions Indented { get; } =
        new(JsonSerializerDefaults.Web) { WriteIndented = true, Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping };

    /// <summary>An apostrophe and the + of an offset need no escape in a JSON body that is never put into a page.</summary>
    public static IServiceCollection AddReadableJson(this IServiceCollection services) =>
        services.ConfigureHttpJsonOptions(options => options.SerializerOptions.Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping);
}
