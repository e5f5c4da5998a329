using Irrigation.Balance;
using Irrigation.Flags;
using IrrigationFhir.Model;
using IrrigationFhir.Record;
using IrrigationFhir.Rest;
using NodaTime;

namespace IrrigationFhir.Episodes;

/// <summary>Answers what is asked of an episode, now or as it was known at a moment.</summary>
internal sealed class EpisodeAsOf(EpisodesInMemory episodes, TimeProvider clock)
{
    /// <summary>The answer, or why there is none.</summary>
    /// <param name="id">The episode.</param>
    /// <param name="asOf">The moment as it was asked; null for now.</param>
    /// <param name="answer">From the episode as it was known then, and the moment.</param>
    /// <param name="stop">Gives up.</param>
    public Task<IResult> Answer(string id, string? asOf, Func<Episode, Instant, IResult> answer, CancellationToken stop) =>
        Known(id, asOf, (_, episode, at) => Task.FromResult(answer(episode, at)), stop);

    /// <summary>The same from its flags as well, to the second.</summary>
    public Task<IResult> Answer(string id, string? asOf, Func<Episode, FlagRecord, IResult> answer, CancellationToken stop) =>
        Known(
            id,
            asOf,
            async (stands, known, at) =>
            {
                var watched = await episodes.Watched(stands, stop);
                if (asOf is not null)
                    return answer(known, watched.Flags!.AsKnown(watched.Log, known.Balance, at, stop));
                return answer(
                    watched,
                    watched.Flags!.After(watched.Balance, [], Instant.FromUnixTimeSeconds(at.ToUnixTimeSeconds())).Record
                );
            },
            stop
        );

    /// <summary>Asks for the answer with the episode as it stands, as it was known at the moment, and the moment.</summary>
    private async Task<IResult> Known(
        string id,
        string? asOf,
        Func<StoredEpisode, Episode, Instant, Task<IResult>> answer,
        CancellationToken stop
    )
    {
        using var place = await Places.Reading.Enter(stop);
        if (await episodes.Find(id, stop) is not { } found)
            return OutcomeResult.UnknownEpisode(id);
        if (asOf is null)
            return await answer(found, found, Instant.FromDateTimeOffset(clock.GetUtcNow()));
        var (moment, problem) = EntryJson.Moment("asOf", asOf);
        if (moment is not { } at)
            return OutcomeResult.Refused(StatusCodes.Status400BadRequest, [problem!]);
        stop.ThrowIfCancellationRequested();
        return await answer(found, found with { Balance = FluidBalance.Of(found.Log.KnownAt(at), found.Balance.Settings) }, at);
    }
}
