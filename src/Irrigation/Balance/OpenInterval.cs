using System.Collections.Immutable;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Balance;

/// <summary>The time since the last closing point.</summary>
/// <param name="Start">The last closing point, or the episode's start.</param>
/// <param name="AsOf">The moment of asking.</param>
/// <param name="Instilled">What has run in since; null where unknown.</param>
/// <param name="Caveats">What a reader should know.</param>
/// <param name="ClampedSince">The clamp in force, if the drain is clamped: a dwell in progress.</param>
public sealed record OpenInterval(Instant Start, Instant AsOf, Volume? Instilled, ImmutableArray<Caveat> Caveats, Instant? ClampedSince);
