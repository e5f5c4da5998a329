namespace IrrigationFhir.Demo;

/// <summary>
/// A clock that is put forward to when something was charted, and goes on from there: so that a night is lived through and not back-filled.
/// </summary>
internal sealed class NightClock : TimeProvider
{
    private (DateTimeOffset Shown, long Since) put;

    /// <summary>A clock that shows a moment.</summary>
    public NightClock(DateTimeOffset now) => Put(now);

    /// <summary>Puts it to a moment.</summary>
    public void Put(DateTimeOffset now) => put = (now, GetTimestamp());

    /// <inheritdoc/>
    public override DateTimeOffset GetUtcNow() => (put.Shown + GetElapsedTime(put.Since)).ToUniversalTime();
}
