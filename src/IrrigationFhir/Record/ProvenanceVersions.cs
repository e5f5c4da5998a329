using Hl7.Fhir.Model;
using IrrigationFhir.Store;

namespace IrrigationFhir.Record;

/// <summary>
/// Names the versions that a Provenance is about: of its targets those that are stored with it, of its entities those that they replace.
/// </summary>
internal static class ProvenanceVersions
{
    /// <summary>Addresses of everything that Provenances are about, as <c>Observation/id</c>.</summary>
    public static IReadOnlySet<string> Addresses(IEnumerable<Provenance> provenances) =>
        provenances
            .SelectMany(provenance => provenance.Target.Concat(provenance.Entity.Select(entity => entity.What)))
            .Select(reference => reference?.Reference)
            .OfType<string>()
            .ToHashSet();

    /// <summary>Puts the versions in.</summary>
    /// <param name="provenance">Whose references name no version yet; changed in place.</param>
    /// <param name="stored">What is stored before, by address.</param>
    /// <param name="written">What is stored with it, by address.</param>
    /// <returns>False where nothing that it is about was ever published: then there is nothing to say it of.</returns>
    public static bool Name(
        Provenance provenance,
        IReadOnlyDictionary<string, StoredContent> stored,
        ILookup<string, ResourceDraft> written
    )
    {
        provenance.Target =
        [
            .. from target in provenance.Target
            let version = After(target.Reference!, stored, written)
            where version > 0
            select new ResourceReference($"{target.Reference}/_history/{version}"),
        ];
        provenance.Entity.RemoveAll(entity => !stored.ContainsKey(entity.What!.Reference!));
        foreach (var entity in provenance.Entity)
            entity.What!.Reference = $"{entity.What.Reference}/_history/{stored[entity.What.Reference!].VersionId}";
        return provenance.Target.Count > 0;
    }

    /// <summary>The version after this is stored; 0 where there is none.</summary>
    private static long After(string address, IReadOnlyDictionary<string, StoredContent> stored, ILookup<string, ResourceDraft> written)
    {
        var (version, content) = stored.GetValueOrDefault(address) is { } before ? (before.VersionId, before.ContentHash) : (0, null);
        foreach (var draft in written[address])
        {
            if (content is null || !content.AsSpan().SequenceEqual(draft.ContentHash))
                (version, content) = (version + 1, draft.ContentHash);
        }

        return version;
    }
}
