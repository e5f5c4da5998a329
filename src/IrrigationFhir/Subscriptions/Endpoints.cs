using System.Collections.Concurrent;
using Polly;
using Polly.CircuitBreaker;
using Polly.RateLimiting;
using Polly.Retry;
using Polly.Timeout;

namespace IrrigationFhir.Subscriptions;

/// <summary>
/// How one endpoint is treated: no more calls at once than it is given, none for a while after several failed, and none that lasts.
/// </summary>
/// <remarks>
/// By its whole address, so that a bad path harms no other on the same host. What is known of an endpoint is forgotten with the process.
/// </remarks>
internal sealed class Endpoints(SubscriptionSettings settings, TimeProvider clock)
{
    /// <summary>Attempts in a row that have to fail before an endpoint is left alone.</summary>
    private const int FailuresToBreak = 5;

    private static readonly ResiliencePropertyKey<TimeSpan> Patience = new("patience");

    /// <summary>For how long what is known of an endpoint is kept after the last call to it.</summary>
    private static readonly TimeSpan Remembered = TimeSpan.FromHours(1);

    private readonly ConcurrentDictionary<string, Known> known = new(StringComparer.Ordinal);

    /// <summary>How many endpoints are left alone now.</summary>
    public int Broken => known.Values.Count(endpoint => endpoint.State.CircuitState is CircuitState.Open or CircuitState.Isolated);

    /// <summary>Forgets those that nobody called for a while: an address may be used once only, and hold a secret.</summary>
    public void Forget()
    {
        foreach (var (address, endpoint) in known)
        {
            if (clock.GetUtcNow() - endpoint.LastCall > Remembered)
                known.TryRemove(address, out _);
        }
    }

    /// <summary>Makes one call.</summary>
    public async Task<Sent> Call(Uri endpoint, TimeSpan patience, Func<CancellationToken, Task<Sent>> call, CancellationToken stop)
    {
        var context = ResilienceContextPool.Shared.Get(stop);
        context.Properties.Set(Patience, patience);
        try
        {
            var found = known.GetOrAdd(endpoint.AbsoluteUri, _ => New());
            found.LastCall = clock.GetUtcNow();
            return await found.Pipeline.ExecuteAsync(async within => await call(within.CancellationToken), context);
        }
        catch (BrokenCircuitException broken)
        {
            return new("it failed too often, and is left alone for a while", broken.RetryAfter ?? settings.BreakFor, Tried: false);
        }
        catch (TimeoutRejectedException)
        {
            return new(FormattableString.Invariant($"no answer within {patience.TotalSeconds:0.###} s"));
        }
        catch (RateLimiterRejectedException)
        {
            return new("too many other notifications wait for the same endpoint", Tried: false);
        }
        finally
        {
            ResilienceContextPool.Shared.Return(context);
        }
    }

    private Known New()
    {
        var state = new CircuitBreakerStateProvider();
        var pipeline = new ResiliencePipelineBuilder<Sent> { TimeProvider = clock }
            .AddConcurrencyLimiter(settings.AtOncePerEndpoint, queueLimit: settings.Most)
            .AddCircuitBreaker(
                new CircuitBreakerStrategyOptions<Sent>
                {
                    ShouldHandle = new PredicateBuilder<Sent>()
                        .Handle<TimeoutRejectedException>()
                        .HandleResult(sent => sent.Failure is not null),
                    FailureRatio = 0.9,
                    MinimumThroughput = FailuresToBreak,
                    SamplingDuration = TimeSpan.FromMinutes(2),
                    BreakDuration = settings.BreakFor,
                    StateProvider = state,
                }
            )
            .AddTimeout(
                new TimeoutStrategyOptions
                {
                    TimeoutGenerator = args => ValueTask.FromResult(args.Context.Properties.GetValue(Patience, settings.Timeout)),
                }
            )
            .Build();
        return new(pipeline, state) { LastCall = clock.GetUtcNow() };
    }

    /// <summary>What is known of an endpoint.</summary>
    private sealed record Known(ResiliencePipeline<Sent> Pipeline, CircuitBreakerStateProvider State)
    {
        public DateTimeOffset LastCall { get; set; }
    }

    /// <summary>
    /// Tries again what failed, ever less often, and not before the endpoint asked for it. Ends with the first result that is no failure.
    /// </summary>
    public ResiliencePipeline<Served> Persistence { get; } =
        new ResiliencePipelineBuilder<Served> { TimeProvider = clock }
            .AddRetry(
                new RetryStrategyOptions<Served>
                {
                    ShouldHandle = new PredicateBuilder<Served>().HandleResult(served => served is Served.Failed),
                    MaxRetryAttempts = int.MaxValue,
                    BackoffType = DelayBackoffType.Exponential,
                    UseJitter = true,
                    Delay = settings.RetryFirst,
                    MaxDelay = settings.RetryLongest,
                    DelayGenerator = args =>
                        ValueTask.FromResult(
                            args.Outcome.Result is Served.Failed { RetryAfter: { } asked }
                                ? Later(asked, settings.RetryLongest)
                                : (TimeSpan?)null
                        ),
                }
            )
            .Build();

    /// <summary>As long as the endpoint asked for, within reason, and a little more, lest all come back at once.</summary>
    private static TimeSpan Later(TimeSpan asked, TimeSpan longest) =>
        TimeSpan.FromTicks(Math.Min(asked.Ticks, longest.Ticks * 12)) * (1 + (Random.Shared.NextDouble() / 10));
}

/// <summary>What became of serving a subscription.</summary>
internal abstract record Served
{
    /// <summary>Nothing is left to tell for now, or nobody to tell it to.</summary>
    public sealed record AllTold : Served;

    /// <summary>An attempt failed, and another is to be made.</summary>
    public sealed record Failed(TimeSpan? RetryAfter) : Served;
}
