using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>A record of flags as it was told, and as it ought to have been told at the same moment by all that is known now.</summary>
/// <param name="Said">As it was told.</param>
/// <param name="Record">As of the same moment, by all that is known now.</param>
/// <param name="Since">Flags that ended by then are the same in both.</param>
public sealed record Reconsidered(FlagRecord Said, FlagRecord Record, Instant Since)
{
    /// <summary>Flags that had been told and were, as shows now, never so, or ended otherwise, or had another priority.</summary>
    /// <remarks>Compared as of one moment: what time alone changed since is no revision.</remarks>
    public ImmutableArray<FlagChange> Revised =>
        Said == Record
            ? []
            :
            [
                .. FlagRecord
                    .Compare(Said, Record, Since)
                    .Where(c =>
                        c.Before is { } said
                        && (c.After is not { } now || now.End != said.End || now.Latest.Priority != said.Latest.Priority)
                    ),
            ];

    /// <summary>The record at a later moment, and all that changed against what was told.</summary>
    /// <param name="balance">The balance of the whole log, with <paramref name="more"/>.</param>
    /// <param name="more">What came into force besides.</param>
    /// <param name="asOf">The moment; not before that of the record.</param>
    public (FlagRecord Record, ImmutableArray<FlagChange> Changes) Until(FluidBalance balance, IEnumerable<Change> more, Instant asOf) =>
        Record.Against(Said, Since, balance, more, asOf);
}
