using Irrigation.Episodes;
using NodaTime;

namespace IrrigationFhir.Model;

/// <summary>Why an episode is not what it was: entries arrived, it is described otherwise, or time passed.</summary>
internal abstract record Cause
{
    /// <summary>What shows that a flag was never so, as the beginning of a clause: "… that it was never so".</summary>
    public abstract string Shows { get; }

    /// <summary>Entries arrived.</summary>
    /// <param name="Entries">As they were logged, with what was repeated.</param>
    public sealed record EntriesArrived(IReadOnlyList<LoggedEntry> Entries) : Cause
    {
        /// <inheritdoc/>
        public override string Shows => "late or corrected entries show";
    }

    /// <summary>The patient or the episode is described otherwise.</summary>
    /// <param name="At">When the description arrived.</param>
    public sealed record DescribedOtherwise(Instant At) : Cause
    {
        /// <inheritdoc/>
        public override string Shows => "the episode as it is described now shows";
    }

    /// <summary>Nothing was charted, and that is an event too.</summary>
    public sealed record TimePassed : Cause
    {
        /// <inheritdoc/>
        public override string Shows => "the settings in force show";
    }
}
