using System.Text.Json;
using Hl7.Fhir.Model;
using Hl7.Fhir.Serialization;
using Hl7.Fhir.Utility;
using Irrigation.Episodes;

namespace IrrigationFhir.Rest;

/// <summary>A sender's JSON as a resource of the SDK, or what is wrong with its shape.</summary>
internal static class ResourceJson
{
    /// <summary>Reads it; null with at least one problem where it is no such resource.</summary>
    /// <param name="json">The resource.</param>
    public static (T? Resource, IReadOnlyList<EntryProblem> Problems) Read<T>(JsonElement json)
        where T : Resource
    {
        try
        {
            return (FhirJsonDeserializer.STRICT.Deserialize<T>(json.GetRawText()), []);
        }
        catch (DeserializationFailedException fault)
        {
            return (null, [.. fault.Exceptions.OfType<ExtendedCodedException>().Select(Problem).DefaultIfEmpty(Unreadable)]);
        }
        catch (ExtendedCodedException fault)
        {
            // What the SDK cannot even judge (a null in place of a list) comes out alone.
            return (null, [Problem(fault)]);
        }
        catch (Exception fault) when (fault is not OutOfMemoryException)
        {
            // Nothing but the text decides: whatever the SDK throws (an index out of range at a property without a name), it could not read
            // it.
            return (null, [Unreadable]);
        }

        static EntryProblem Problem(ExtendedCodedException fault) =>
            new(
                "malformed-resource",
                fault.InstancePath ?? typeof(T).Name,
                fault.BaseErrorMessage ?? fault.ErrorCode,
                $"a {typeof(T).Name} of FHIR R4"
            );
    }

    private static EntryProblem Unreadable =>
        new("malformed-resource", "resourceType", "JSON that is no such resource", "a resource of FHIR R4");
}
