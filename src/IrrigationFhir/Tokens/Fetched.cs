using System.Text.Json;

namespace IrrigationFhir.Tokens;

/// <summary>What stands at an address, fetched when it is asked for and kept no longer than its Cache-Control says.</summary>
/// <remarks>
/// One fetch at a time. Whoever asks for it again although it is kept gets it anew at most once a minute, and so does whoever asks after
/// one that failed: who makes up names of keys makes no calls.
/// </remarks>
/// <param name="address">Where.</param>
/// <param name="read">Makes something of it; null where it cannot be used.</param>
/// <param name="fetch">Gets it.</param>
/// <param name="clock">What time it is.</param>
internal sealed class Fetched<T>(Uri address, Func<JsonElement, T?> read, KeyFetcher fetch, TimeProvider clock) : IDisposable
    where T : class
{
    private static readonly TimeSpan Between = TimeSpan.FromMinutes(1);

    private readonly SemaphoreSlim _one = new(1);
    private T? _known;
    private DateTimeOffset _until;
    private DateTimeOffset _lastTry = DateTimeOffset.MinValue;

    /// <summary>What stands there; null where it cannot be fetched.</summary>
    /// <param name="suffices">Whether what is kept is enough; if not it is fetched anew, in its time.</param>
    /// <param name="stop">Gives up.</param>
    public async Task<T?> Get(Func<T, bool> suffices, CancellationToken stop)
    {
        await _one.WaitAsync(stop);
        try
        {
            var now = clock.GetUtcNow();
            var kept = now < _until ? _known : null;
            if (kept is not null && suffices(kept))
                return kept;
            var stale = _known is not null && now >= _until;
            if (!stale && now - _lastTry < Between)
                return kept;
            _lastTry = now;
            if (await fetch.Get(address, stop) is { } found && read(found.Json) is { } made)
                (_known, _until) = (made, now + found.MayBeKept);
            else if (stale)
                _known = null;
            return now < _until ? _known : null;
        }
        finally
        {
            _one.Release();
        }
    }

    /// <inheritdoc/>
    public void Dispose() => _one.Dispose();
}

/// <summary>Fetches small JSON from addresses that an operator has named.</summary>
internal sealed partial class KeyFetcher(HttpClient http, ILogger<KeyFetcher> log)
{
    /// <summary>Most bytes that are read.</summary>
    public const int MostBytes = 64 * 1024;

    /// <summary>After so long it is given up.</summary>
    public static readonly TimeSpan Patience = TimeSpan.FromSeconds(5);

    private static readonly TimeSpan Unsaid = TimeSpan.FromMinutes(5);
    private static readonly TimeSpan Longest = TimeSpan.FromDays(1);

    /// <summary>What is not to be kept is kept for a second: for those who ask at once.</summary>
    private static readonly TimeSpan Shortest = TimeSpan.FromSeconds(1);

    /// <summary>What stands at an address, and for how long it may be kept; null where it cannot be had.</summary>
    public async Task<(JsonElement Json, TimeSpan MayBeKept)?> Get(Uri address, CancellationToken stop)
    {
        try
        {
            using var response = await http.GetAsync(address, stop);
            if (!response.IsSuccessStatusCode)
            {
                LogNotFetched($"it answered {(int)response.StatusCode}");
                return null;
            }

            using var json = JsonDocument.Parse(await response.Content.ReadAsByteArrayAsync(stop), new() { MaxDepth = 16 });
            var said = response.Headers.CacheControl;
            var kept = said is { NoStore: true } or { NoCache: true } ? TimeSpan.Zero : said?.MaxAge ?? Unsaid;
            return (
                json.RootElement.Clone(),
                kept < Shortest ? Shortest
                : kept > Longest ? Longest
                : kept
            );
        }
        catch (Exception failure) when (failure is HttpRequestException or JsonException)
        {
            LogNotFetched(failure.InnerException?.GetType().Name ?? failure.GetType().Name);
            return null;
        }
        catch (OperationCanceledException) when (!stop.IsCancellationRequested)
        {
            LogNotFetched($"no answer within {Patience.TotalSeconds:0} s");
            return null;
        }
    }

    [LoggerMessage(1, LogLevel.Warning, "Keys of a client or issuer could not be fetched: {Reason}")]
    private partial void LogNotFetched(string reason);
}
