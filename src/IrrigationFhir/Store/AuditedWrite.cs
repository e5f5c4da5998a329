namespace IrrigationFhir.Store;

/// <summary>What the audit says of a write, in whose transaction it stands.</summary>
internal static class AuditedWrite
{
    /// <summary>Of so many resources an entry tells at most; what else changed with them follows from the same entries.</summary>
    private const int MostResources = 100;

    /// <summary>An episode was opened.</summary>
    public static AuditEntry Of(WriteTransaction transaction, EpisodeRow opened) =>
        By(transaction, opened.Id, isNew: true) with
        {
            Patient = AuditSql.PatientOf(transaction.Statements, opened.Id),
            Resources = [Whole(opened.Id)],
        };

    /// <summary>An episode was changed.</summary>
    /// <param name="transaction">The transaction.</param>
    /// <param name="change">What was changed.</param>
    /// <param name="changed">The versions that it made.</param>
    public static AuditEntry Of(WriteTransaction transaction, EpisodeChange change, IReadOnlyList<ResourceVersion> changed)
    {
        var meant = change.About.ToHashSet();
        List<string> resources = [.. changed.Where(one => meant.Contains($"{one.Type}/{one.Id}")).Select(Address).Take(MostResources)];
        if (resources.Count == 0 && change.Entries.Count == 0)
            resources = [.. changed.Select(Address).Take(MostResources)];
        if (resources.Count == 0)
            resources =
            [
                changed
                    .Where(one => $"{one.Type}/{one.Id}" == Whole(change.EpisodeId))
                    .Select(Address)
                    .FirstOrDefault(Whole(change.EpisodeId)),
            ];
        return By(transaction, change.EpisodeId, change.Creates) with
        {
            Patient = AuditSql.PatientOf(transaction.Statements, change.EpisodeId),
            Resources = resources,
            Entries = change.Entries.Count == 0 ? null : [.. change.Entries.Select(entry => $"{entry.Source}|{entry.EntryId}")],
        };
    }

    /// <summary>A resource about no patient was stored.</summary>
    public static AuditEntry Of(WriteTransaction transaction, ResourceVersion version, bool isNew) =>
        By(transaction, "", isNew) with
        {
            Resources = [Address(version)],
        };

    /// <summary>The address of a version.</summary>
    public static string Address(ResourceVersion version) => $"{version.Type}/{version.Id}/_history/{version.VersionId}";

    /// <summary>The address of an episode's irrigation, which stands for the episode.</summary>
    public static string Whole(string episode) => $"Procedure/{episode}.bladder-irrigation";

    private static AuditEntry By(WriteTransaction transaction, string episode, bool isNew)
    {
        transaction.Audited = episode;
        return AuditEntry.By(transaction.By, isNew ? Deed.Create : Deed.Update, isNew ? "create" : "update", transaction.At);
    }
}
