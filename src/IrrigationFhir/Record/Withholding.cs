using Hl7.Fhir.Model;
using IrrigationFhir.Store;
using IrrigationFhir.Validation;

namespace IrrigationFhir.Record;

/// <summary>Resources of ours that failed their own profile: counted and named, never published.</summary>
internal static class Withholding
{
    /// <summary>What the store keeps of them: the keys of the rules, no text, for a text may quote the patient.</summary>
    public static List<WithheldRow> ToRows(this IEnumerable<(Resource Resource, IReadOnlyList<ProfileFault> Faults)> faulty) =>
        [
            .. faulty.Select(f => new WithheldRow(
                f.Resource.TypeName,
                f.Resource.Id!,
                string.Join(' ', f.Faults.Select(fault => fault.Key).Distinct())
            )),
        ];
}
