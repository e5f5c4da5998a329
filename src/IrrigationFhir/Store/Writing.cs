using NodaTime;

namespace IrrigationFhir.Store;

/// <summary>One unit of writing: its statements, and the time it is stored under.</summary>
internal sealed class Writing(PreparedStatements statements, Instant at)
{
    /// <summary>Statements inside the transaction.</summary>
    public PreparedStatements Statements => statements;

    /// <summary>When this is stored: later than anything stored before, to the microsecond.</summary>
    public Instant At => at;

    /// <summary>True once <see cref="Discard"/> was called.</summary>
    public bool Discarded { get; private set; }

    /// <summary>Nothing of this unit is to be kept, although it did not fail.</summary>
    public void Discard() => Discarded = true;
}
