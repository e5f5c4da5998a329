using System.Text.Encodings.Web;

namespace IrrigationFhir.Rest;

/// <summary>JSON that people can read too.</summary>
internal static class ReadableJson
{
    /// <summary>An apostrophe and the + of an offset need no escape in a JSON body that is never put into a page.</summary>
    public static IServiceCollection AddReadableJson(this IServiceCollection services) =>
        services.ConfigureHttpJsonOptions(options => options.SerializerOptions.Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping);
}
