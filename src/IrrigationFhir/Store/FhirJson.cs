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

    private static readonly JsonSerializerOptions Reading =
        new JsonSerializerOptions { MaxDepth = MaxDepth }.ForFhir(ModelInfo.ModelInspector);

    /// <summary>The resource as compact JSON.</summary>
    public static string Write(Resource resource) => Serializer.SerializeToString(resource);

    /// <summary>The resource as compact JSON in UTF-8.</summary>
    public static byte[] WriteUtf8(Resource resource) => Serializer.SerializeToBytes(resource);

    /// <summary>Reads back what <see cref="Write"/> wrote.</summary>
    /// <exception cref="DeserializationFailedException">The text is no valid resource of that type.</exception>
    public static T Read<T>(string json)
        where T : Resource =>
        JsonSerializer.Deserialize<T>(json, Reading) ?? throw new JsonException("A resource is an object; this is null.");
}
