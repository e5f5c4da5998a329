using Hl7.Fhir.Model;
using IrrigationFhir.Store;
using IrrigationFhir.Validation;

namespace IrrigationFhir.Record;

/// <summary>Resources of ours that failed their own profile: counted and named, never published.</summary>
internal static class Withholding
{
    /// <summary>What the store keeps of them: the keys of the rules, no text, for a text may quote the patient.</summary>
    public static WithheldRow ToRow(Resource resource, IEnumerable<ProfileFault> faults) =>
        new(resource.TypeName, resource.Id!, string.Join(' ', faults.Select(fault => fault.Key).Distinct()));
}
