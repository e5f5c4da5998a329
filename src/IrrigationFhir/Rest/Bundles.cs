using System.Buffers;
using System.Text.Json;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>Writes Bundles round stored texts, without taking the resources apart.</summary>
internal static class Bundles
{
    /// <summary>A page of a search.</summary>
    /// <param name="at">The address of the FHIR base.</param>
    /// <param name="page">The resources.</param>
    /// <param name="self">The address that repeats this page, with the parameters that took effect.</param>
    /// <param name="next">The address of the next page, or null.</param>
    public static ReadOnlyMemory<byte> Search(string at, SearchPage page, string self, string? next) => Write("searchset", page.Total, self, next, page.Resources, (json, version) =>
    {
        json.WriteString("fullUrl", $"{at}/{version.Type}/{version.Id}");
        json.WritePropertyName("resource");
        json.WriteRawValue(version.Json, skipInputValidation: true);
        json.WriteStartObject("search");
        json.WriteString("mode", "match");
        json.WriteEndObject();
    });

    /// <summary>Versions of one resource, newest first.</summary>
    /// <param name="at">The address of the FHIR base.</param>
    /// <param name="versions">The versions.</param>
    /// <param name="self">The address that repeats this page.</param>
    /// <param name="next">The address of older versions, or null.</param>
    public static ReadOnlyMemory<byte> History(string at, IReadOnlyList<ResourceVersion> versions, string self, string? next) => Write("history", null, self, next, versions, (json, version) =>
    {
        json.WriteString("fullUrl", $"{at}/{version.Type}/{version.Id}");
        json.WritePropertyName("resource");
        json.WriteRawValue(version.Json, skipInputValidation: true);
        json.WriteStartObject("request");
        json.WriteString("method", "PUT");
        json.WriteString("url", $"{version.Type}/{version.Id}");
        json.WriteEndObject();
        json.WriteStartObject("response");
        json.WriteString("status", version.VersionId == 1 ? "201 Created" : "200 OK");
        json.WriteString("etag", ResourceResult.ETag(version));
        json.WriteString("lastModified", LastUpdatedText.Of(version.LastUpdated));
        json.WriteEndObject();
    });

    private static ReadOnlyMemory<byte> Write(
        string type, long? total, string self, string? next, IReadOnlyList<ResourceVersion> versions, Action<Utf8JsonWriter, ResourceVersion> entry)
    {
        var buffer = new ArrayBufferWriter<byte>(512 + versions.Sum(version => version.Json.Length + 256));
        using var json = new Utf8JsonWriter(buffer);
        json.WriteStartObject();
        json.WriteString("resourceType", "Bundle");
        json.WriteString("type", type);
        if (total is { } counted)
            json.WriteNumber("total", counted);
        json.WriteStartArray("link");
        Link(json, "self", self);
        if (next is not null)
            Link(json, "next", next);
        json.WriteEndArray();
        // FHIR has no empty arrays.
        if (versions.Count > 0)
        {
            json.WriteStartArray("entry");
            foreach (var version in versions)
            {
                json.WriteStartObject();
                entry(json, version);
                json.WriteEndObject();
            }

            json.WriteEndArray();
        }

        json.WriteEndObject();
        json.Flush();
        return buffer.WrittenMemory;
    }

    private static void Link(Utf8JsonWriter json, string relation, string url)
    {
        json.WriteStartObject();
        json.WriteString("relation", relation);
        json.WriteString("url", url);
        json.WriteEndObject();
    }
}
