using IrrigationFhir.Model;
using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>
/// One unit of writing, kept wholly or not at all: its statements, and the time it is stored under. Several may share a commit, each
/// behind a savepoint of its own.
/// </summary>
internal sealed class WriteTransaction(PreparedStatements statements, Func<Instant> next, Actor by)
{
    private Instant? _at;

    /// <summary>Statements inside the transaction.</summary>
    public PreparedStatements Statements => statements;

    /// <summary>When this is stored: later than anything stored before, to the microsecond. What does not ask takes no time up.</summary>
    public Instant At => _at ??= next();

    /// <summary>On whose behalf: what the audit in it says.</summary>
    public Actor By => by;

    /// <summary>What the audit in it tells of: the id of an episode, or empty for what is of none; null for nothing.</summary>
    public string? Audited { get; set; }

    /// <summary>True once <see cref="Discard"/> was called.</summary>
    public bool Discarded { get; private set; }

    /// <summary>Nothing of this unit is to be kept, although it did not fail.</summary>
    public void Discard() => Discarded = true;
}
