using System.Buffers;
using System.Text.Encodings.Web;
using System.Text.Json;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
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
    /// <param name="shape">How much of each resource is sent.</param>
    /// <param name="passedOver">What of the request was passed over, as warnings.</param>
    /// <param name="vocabulary">The words of the service.</param>
    public static ReadOnlyMemory<byte> Search(
        string at,
        SearchPage page,
        string self,
        string? next,
        Shape shape,
        IReadOnlyList<OperationOutcome.IssueComponent> passedOver,
        Vocabulary vocabulary
    ) =>
        Write(
            "searchset",
            page.Total,
            self,
            next,
            [.. page.Resources.Select(version => (version, "match")), .. page.Included.Select(version => (version, "include"))],
            (json, entry) =>
            {
                var (version, mode) = entry;
                json.WriteString("fullUrl", $"{at}/{version.Type}/{version.Id}");
                json.WritePropertyName("resource");
                json.WriteRawValue(Shaping.Of(version, shape), skipInputValidation: true);
                Mode(json, mode);
            },
            Warnings(page.IncludedAll ? passedOver : [.. passedOver, InclusionsCutOff(page)], vocabulary)
        );

    private static OperationOutcome? Warnings(IReadOnlyList<OperationOutcome.IssueComponent> warnings, Vocabulary vocabulary) =>
        warnings.Count > 0 ? Outcome.Of(warnings).Under(vocabulary) : null;

    private static OperationOutcome.IssueComponent InclusionsCutOff(SearchPage page) =>
        Outcome.Warning(
            "included-cut",
            $"more resources than {page.Included.Count} would come along with this page, "
                + $"or they lie more than {Inclusions.Rounds} steps away",
            "a smaller _count, or a search of their own for the rest",
            "_include"
        );

    /// <summary>Versions of one resource or of a type, newest first.</summary>
    /// <param name="at">The address of the FHIR base.</param>
    /// <param name="versions">The versions.</param>
    /// <param name="self">The address that repeats this page.</param>
    /// <param name="next">The address of older versions, or null.</param>
    public static ReadOnlyMemory<byte> History(string at, IReadOnlyList<ResourceVersion> versions, string self, string? next) =>
        Write(
            "history",
            null,
            self,
            next,
            versions,
            (json, version) =>
            {
                json.WriteString("fullUrl", $"{at}/{version.Type}/{version.Id}");
                json.WritePropertyName("resource");
                json.WriteRawValue(version.Json, skipInputValidation: true);
                json.WriteStartObject("request");
                // Ids are given here: what came first was posted to its type, and whatever came then was put at its address.
                var created = version.VersionId == 1;
                json.WriteString("method", created ? "POST" : "PUT");
                json.WriteString("url", created ? version.Type : $"{version.Type}/{version.Id}");
                json.WriteEndObject();
                json.WriteStartObject("response");
                json.WriteString("status", created ? "201 Created" : "200 OK");
                json.WriteString("etag", EntityTags.Of(version.VersionId));
                json.WriteString("lastModified", LastUpdatedText.Of(version.LastUpdated));
                json.WriteEndObject();
            }
        );

    private static ReadOnlyMemory<byte> Write<T>(
        string type,
        long? total,
        string self,
        string? next,
        IReadOnlyList<T> entries,
        Action<Utf8JsonWriter, T> entry,
        OperationOutcome? warnings = null
    )
    {
        var buffer = new ArrayBufferWriter<byte>(4096);
        // The & of a link as it is, for those who copy it.
        using var json = new Utf8JsonWriter(buffer, new JsonWriterOptions { Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping });
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
        if (entries.Count > 0 || warnings is not null)
        {
            json.WriteStartArray("entry");
            foreach (var one in entries)
            {
                json.WriteStartObject();
                entry(json, one);
                json.WriteEndObject();
            }

            if (warnings is not null)
            {
                json.WriteStartObject();
                json.WritePropertyName("resource");
                json.WriteRawValue(FhirJson.Write(warnings), skipInputValidation: true);
                Mode(json, "outcome");
                json.WriteEndObject();
            }

            json.WriteEndArray();
        }

        json.WriteEndObject();
        json.Flush();
        return buffer.WrittenMemory;
    }

    private static void Mode(Utf8JsonWriter json, string mode)
    {
        json.WriteStartObject("search");
        json.WriteString("mode", mode);
        json.WriteEndObject();
    }

    private static void Link(Utf8JsonWriter json, string relation, string url)
    {
        json.WriteStartObject();
        json.WriteString("relation", relation);
        json.WriteString("url", url);
        json.WriteEndObject();
    }
}
