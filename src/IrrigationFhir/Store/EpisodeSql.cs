using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>The statements that save a change of an episode; they run inside a <see cref="WriteTransaction"/>.</summary>
internal static class EpisodeSql
{
    /// <summary>Saves entries, resources and events, or says who was first.</summary>
    public static SaveOutcome Save(WriteTransaction transaction, EpisodeChange change, List<DraftTimes> dates)
    {
        // First of all the version: this row is what two writers of one episode contend for.
        if (!TakeVersion(transaction, change))
        {
            transaction.Discard();
            return new SaveOutcome.VersionConflict(change.ExpectedVersion, ActualVersion(transaction, change));
        }

        foreach (var entry in change.Entries)
        {
            if (!Insert(transaction, change, entry))
            {
                transaction.Discard();
                return new SaveOutcome.RepeatedEntry(entry.Source, entry.EntryId, entry.Revision);
            }
        }

        var changed = ResourceSql.Store(transaction, change.PatientKey, change.Resources, dates);
        var cleared = change.Resources.Sum(draft => ResourceSql.Release(transaction, change.PatientKey, draft));

        foreach (var outboxEvent in change.Events)
        {
            if (changed.Find(version => version.Type == outboxEvent.Type && version.Id == outboxEvent.Id) is { } version)
                Publish(transaction, change, outboxEvent, version);
        }

        if (change.Remembered is { } remembered)
            Remember(transaction, change, remembered);
        var withheld = change.Withheld.Sum(row => ResourceSql.Withhold(transaction, change.PatientKey, row));

        if (change.Entries.Count + changed.Count + cleared + withheld == 0 && change.Json is null && change.ClosedAt is null)
        {
            transaction.Discard();
            return new SaveOutcome.Saved(change.ExpectedVersion, []);
        }

        AuditSql.Append(transaction, AuditedWrite.Of(transaction, change, changed));
        return new SaveOutcome.Saved(change.ExpectedVersion + 1, changed);
    }

    private static void Publish(WriteTransaction transaction, EpisodeChange change, OutboxEvent outboxEvent, ResourceVersion version)
    {
        var number = 1 + transaction.Statements.Find("select max(number) from outbox", row => row.Number(0));
        transaction.Statements.Execute(
            """
            insert into outbox (patient_key, number, episode_id, type, id, version_id, event, at)
            values (@patient, @number, @episode, @type, @id, @version, @event, @at)
            """,
            ("patient", change.PatientKey),
            ("number", number),
            ("episode", change.EpisodeId),
            ("type", outboxEvent.Type),
            ("id", outboxEvent.Id),
            ("version", version.VersionId),
            ("event", outboxEvent.Event),
            ("at", UnixNanoseconds.Of(transaction.At))
        );
        SubscriptionSql.AddEvents(transaction, change.PatientKey, number, outboxEvent, version);
    }

    private static bool TakeVersion(WriteTransaction transaction, EpisodeChange change)
    {
        // Only what changes is set: the indexes of a column that is set are written whatever the value.
        var savedBy = change.SavedBy is { } program ? $"{program}-{change.ExpectedVersion + 1}" : null;
        List<(string Column, object? Value)> set = [("saved_by", savedBy)];
        if (change.Entries.Count > 0)
            set.Add(("last_sequence", change.Entries.Max(entry => entry.Sequence)));
        if (change.ClosedAt is not null || change.Json is not null)
            set.Add(("closed_at", change.ClosedAt is { } closed ? UnixNanoseconds.Of(closed) : null));
        if (change.Json is not null)
        {
            set.Add(("json", change.Json));
            set.Add(("ward", change.Location?.Ward));
            set.Add(("room", change.Location?.Room));
            set.Add(("bed", change.Location?.Bed));
        }

        if (change.FlagsAsOf is { } asOf)
        {
            set.Add(("flags_as_of", UnixNanoseconds.Of(asOf)));
            set.Add(("next_look", change.NextFlagCheck is { } next ? UnixNanoseconds.Of(next) : null));
        }

        return 1
            == transaction.Statements.Execute(
                $"""
                update episode set version = version + 1{string.Concat(set.Select(one => $", {one.Column} = @{one.Column}"))}
                where patient_key = @patient and id = @id and version = @expected
                """,
                [.. set, ("patient", change.PatientKey), ("id", change.EpisodeId), ("expected", change.ExpectedVersion)]
            );
    }

    private static void Remember(WriteTransaction transaction, EpisodeChange change, RememberedRow remembered) =>
        transaction.Statements.Execute(
            """
            insert into episode_memory (patient_key, episode_id, made_by, last_sequence, content)
            values (@patient, @episode, @madeBy, @sequence, @content)
            on conflict (patient_key, episode_id)
            do update set made_by = excluded.made_by, last_sequence = excluded.last_sequence, content = excluded.content
            """,
            ("patient", change.PatientKey),
            ("episode", change.EpisodeId),
            ("madeBy", remembered.MadeBy),
            ("sequence", remembered.LastSequence),
            ("content", remembered.Content)
        );

    private static long ActualVersion(WriteTransaction transaction, EpisodeChange change)
    {
        var actual = transaction.Statements.First<long?>(
            "select version from episode where patient_key = @patient and id = @id",
            row => row.GetInt64(0),
            ("patient", change.PatientKey),
            ("id", change.EpisodeId)
        );
        return actual ?? throw new InvalidOperationException("A change was saved to an episode that was never opened.");
    }

    private static bool Insert(WriteTransaction transaction, EpisodeChange change, EntryRow entry) =>
        1
        == transaction.Statements.Execute(
            """
            insert into entry (patient_key, episode_id, sequence, source, entry_id, revision, kind, at, received_at, json)
            values (@patient, @episode, @sequence, @source, @entry, @revision, @kind, @at, @received, @json)
            on conflict do nothing
            """,
            ("patient", change.PatientKey),
            ("episode", change.EpisodeId),
            ("sequence", entry.Sequence),
            ("source", entry.Source),
            ("entry", entry.EntryId),
            ("revision", entry.Revision),
            ("kind", entry.Kind),
            ("at", UnixNanoseconds.Of(entry.At)),
            ("received", UnixNanoseconds.Of(entry.ReceivedAt)),
            ("json", entry.Json)
        );
}
