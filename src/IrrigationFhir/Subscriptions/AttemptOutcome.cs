namespace IrrigationFhir.Subscriptions;

/// <summary>What became of an attempt to send one notification.</summary>
/// <param name="Failure">
/// What failed; null where the endpoint acknowledged it. Never anything that the endpoint or its address said.
/// </param>
/// <param name="RetryAfter">When the endpoint asked to be tried again; null where it did not.</param>
/// <param name="WasSent">Whether a call was made at all: none is while the endpoint's circuit is open.</param>
internal sealed record AttemptOutcome(string? Failure, TimeSpan? RetryAfter = null, bool WasSent = true)
{
    /// <summary>The endpoint acknowledged it.</summary>
    public static AttemptOutcome Acknowledged { get; } = new((string?)null);
}
