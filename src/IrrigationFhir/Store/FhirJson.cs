using System.Buffers;
using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;

namespace IrrigationFhir.Store;

/// <summary>The one way a resource becomes JSON text here.</summary>
/// <remarks>
/// Elements are written in the order of the specification and decimals with the digits they carry (6, 6.0 and 6.00 stay
/// different), so equal resources give equal text and a hash of the text tells whether something changed.
/// </remarks>
internal static class FhirJson
{
    /// <summary>How deep JSON may nest, read or written: the default of System.Text.Json, stated because clients meet it.</summary>
    public const int MaxDepth = 64;

    private static readonly BaseFhirJsonSerializer Serializer = new(ModelInfo.ModelInspector);

    private static readonly JsonSerializerOptions Reading = new JsonSerializerOptions { MaxDepth = MaxDepth }.ForFhir(
        ModelInfo.ModelInspector
    );

    // Readable by people: an apostrophe and the + of an offset need no escape in a JSON body that is never put into a page.
    private static readonly JsonWriterOptions Writing = new()
    {
        Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping,
        MaxDepth = MaxDepth,
    };

    /// <summary>The resource as compact JSON.</summary>
    public static string Write(Resource resource) => Encoding.UTF8.GetString(Serialize(resource).WrittenSpan);

    /// <summary>A part of the resource as compact JSON.</summary>
    public static string Write(Resource resource, Func<SerializationFilter> part) =>
        Encoding.UTF8.GetString(Serialize(resource, part).WrittenSpan);

    /// <summary>The resource as compact JSON in UTF-8.</summary>
    public static byte[] WriteUtf8(Resource resource) => Serialize(resource).WrittenSpan.ToArray();

    private static ArrayBufferWriter<byte> Serialize(Resource resource, Func<SerializationFilter>? part = null)
    {
        var buffer = new ArrayBufferWriter<byte>(4096);
        using var writer = new Utf8JsonWriter(buffer, Writing);
        Serializer.Serialize(resource, writer, part);
        writer.Flush();
        return buffer;
    }

    /// <summary>Reads back what <see cref="Write"/> wrote.</summary>
    /// <exception cref="DeserializationFailedException">The text is no valid resource of that type.</exception>
    public static T Read<T>(string json)
        where T : Resource =>
        JsonSerializer.Deserialize<T>(json, Reading) ?? throw new JsonException("A resource is an object; this is null.");
}
