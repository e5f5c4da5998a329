using System.Text.Json;
using IrrigationFhir.Search;
using IrrigationFhir.Store.Sqlite;

namespace IrrigationFhir.Store;

/// <summary>The statements that tell subscribers; they run inside the <see cref="WriteTransaction"/> that makes the news.</summary>
internal static class SubscriptionSql
{
    // Whoever was active once counts on, also while in error or asking anew: what happens meanwhile is not lost to it.
    private static readonly string InsertEvents = $"""
        insert into subscription_event (subscription_id, number, outbox_number, patient_key, type, id, version_id, event, at)
        select s.id, s.events + 1, @outbox, @patient, @type, @id, @version, @event, @at
        from subscription s
        where s.started_at is not null and s.status <> 'off' and (s.facilities is null or {Dialect.Among("@facility", "s.facilities")})
          and (({Dialect.Among("s.topic", "@topics")} and {Dialect.Passes("s.filters", "@attributes")})
            or (@alsoEarlierRecipients and exists (
                select 1 from subscription_told t where t.type = @type and t.id = @id and t.subscription_id = s.id)))
        """;

    /// <summary>Numbers an event for every subscription that it concerns.</summary>
    public static void AddEvents(
        WriteTransaction transaction,
        string patientKey,
        long outbox,
        OutboxEvent outboxEvent,
        ResourceVersion version
    )
    {
        var subscriptions = transaction.Statements.Execute(
            InsertEvents,
            ("outbox", outbox),
            ("patient", patientKey),
            ("facility", PatientNumber.FacilityIn(patientKey)),
            ("type", outboxEvent.Type),
            ("id", outboxEvent.Id),
            ("version", version.VersionId),
            ("event", outboxEvent.Event),
            ("at", UnixNanoseconds.Of(transaction.At)),
            ("topics", JsonSerializer.Serialize(outboxEvent.Topics)),
            ("attributes", JsonSerializer.Serialize(outboxEvent.Attributes)),
            ("alsoEarlierRecipients", outboxEvent.AlsoToEarlierRecipients)
        );
        if (subscriptions == 0)
            return;
        transaction.Statements.Execute(
            """
            insert into subscription_told (type, id, subscription_id)
            select type, id, subscription_id from subscription_event where outbox_number = @outbox on conflict do nothing
            """,
            ("outbox", outbox)
        );
        transaction.Statements.Execute(
            """
            update subscription set events = events + 1
            where id in (select subscription_id from subscription_event where outbox_number = @outbox)
            """,
            ("outbox", outbox)
        );
    }
}
