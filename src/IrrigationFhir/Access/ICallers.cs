namespace IrrigationFhir.Access;

/// <summary>Tells who asks.</summary>
internal interface ICallers
{
    /// <summary>Who sent a request, or why nobody knows: the code of a problem (<c>not-authenticated</c>, <c>token-expired</c>).</summary>
    Task<(Caller? Caller, string? Refusal)> Of(HttpContext http);

    /// <summary>What a client may do now of what it was allowed when it asked for what lasts; null where nothing any more.</summary>
    Caller? Still(LastingAccess then);
}

/// <summary>Whoever asks an open service.</summary>
internal sealed class OpenCallers : ICallers
{
    /// <inheritdoc/>
    public Task<(Caller? Caller, string? Refusal)> Of(HttpContext http) => Task.FromResult<(Caller?, string?)>((Caller.Local, null));

    /// <inheritdoc/>
    public Caller? Still(LastingAccess then) => Caller.Local;
}
