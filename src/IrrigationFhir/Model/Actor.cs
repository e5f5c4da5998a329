namespace IrrigationFhir.Model;

/// <summary>On whose behalf something is done: what the audit says of them. Nothing secret is in it.</summary>
/// <param name="Client">The client's id; <c>local</c> where the service is open.</param>
/// <param name="Token">The id of its token (<c>jti</c>), never the token; null where there is none.</param>
/// <param name="Request">The id of the request (<c>X-Request-Id</c>); null where nobody asked.</param>
/// <param name="From">The network address that it came from; null where that is not known.</param>
/// <param name="To">The network address that it came to; null where that is not known.</param>
internal sealed record Actor(string Client, string? Token, string? Request, string? From, string? To)
{
    // Flows with the work, as the current Activity does: from the request into whatever it awaits, and into nothing else.
    private static readonly AsyncLocal<Actor?> Acting = new();

    /// <summary>The service itself: time passed, or an export or a notification was due.</summary>
    public static Actor Service { get; } = new("irrigationfhir", null, null, null, null);

    /// <summary>Who acts here and now; the service itself where no request is being answered.</summary>
    public static Actor Current => Acting.Value ?? Service;

    private readonly Lock _lock = new();
    private IReadOnlyList<string> _written = [];

    /// <summary>Whether it is the service itself.</summary>
    public bool IsService => ReferenceEquals(this, Service);

    /// <summary>The episodes that were changed on its behalf so far, and recorded so.</summary>
    public IReadOnlyList<string> Written
    {
        get
        {
            lock (_lock)
                return _written;
        }
    }

    /// <summary>A change of an episode stands, and with it the record of it.</summary>
    public void Wrote(string episode)
    {
        if (IsService)
            return;
        lock (_lock)
        {
            if (!_written.Contains(episode))
                _written = [.. _written, episode];
        }
    }

    /// <summary>Has everything that follows in this flow of work done on its behalf.</summary>
    public void Acts() => Acting.Value = this;
}
