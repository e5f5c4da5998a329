namespace IrrigationFhir.Demo;

/// <summary>
/// A clock that is put forward to when something was charted, and goes on from there: so that a night is lived through and not back-filled.
/// </summary>
internal sealed class NightClock : TimeProvider
{
    private (DateTimeOffset Shown, long Since) put;

    /// <summary>A clock that shows a moment.</summary>
    public NightClock(DateTimeOffset now) => put = (now, GetTimestamp());

    /// <summary>Puts it forward to a moment; back it never goes, for the store refuses to write before what it stored last.</summary>
    public void Put(DateTimeOffset now)
    {
        if (now > GetUtcNow())
            put = (now, GetTimestamp());
    }

    /// <inheritdoc/>
    public override DateTimeOffset GetUtcNow() => (put.Shown + GetElapsedTime(put.Since)).ToUniversalTime();
}
