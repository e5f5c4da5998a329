using NodaTime;

namespace IrrigationFhir.Benchmarks;

/// <summary>Keeps clients that chart at once within a quarter of an hour of one another.</summary>
/// <remarks>
/// The service has one clock, and it follows who is furthest on. Left to themselves eight clients drift hours apart, and what all but
/// one of them send is late by so much: then flags are worked out from hours back, as on no ward.
/// </remarks>
internal sealed class Pace(int clients, Instant start)
{
    private static readonly Duration Apart = Duration.FromMinutes(15);

    private readonly Lock gate = new();
    private readonly Instant[] next = [.. Enumerable.Repeat(start, clients)];
    private TaskCompletionSource moved = New();

    /// <summary>A client is about to send what was charted at a moment: waits until nobody is further behind than that.</summary>
    public async Task Until(int client, Instant at)
    {
        Say(client, at);
        while (Behind(at) is { } somebody)
            await somebody;
    }

    /// <summary>A client has nothing more to send.</summary>
    public void End(int client) => Say(client, Instant.MaxValue);

    private void Say(int client, Instant at)
    {
        lock (gate)
        {
            next[client] = at;
            moved.SetResult();
            moved = New();
        }
    }

    // Whoever has the earliest goes on, so that somebody always does.
    private Task? Behind(Instant at)
    {
        lock (gate)
            return at > next.Min() + Apart ? moved.Task : null;
    }

    private static TaskCompletionSource New() => new(TaskCreationOptions.RunContinuationsAsynchronously);
}
