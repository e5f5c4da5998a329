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
    /// <summary>Attempts in a row that have to fail before the circuit of an endpoint opens.</summary>
    private const int FailuresToBreak = 5;

    private static readonly ResiliencePropertyKey<TimeSpan> TimeoutKey = new("timeout");

    /// <summary>For how long what is known of an endpoint is kept after the last call to it.</summary>
    private static readonly TimeSpan ForgottenAfter = TimeSpan.FromHours(1);

    private readonly ConcurrentDictionary<string, EndpointState> _known = new(StringComparer.Ordinal);

    /// <summary>How many endpoints are not called now, because too many attempts failed.</summary>
    public int OpenCircuits => _known.Values.Count(endpoint => endpoint.Circuit.CircuitState is CircuitState.Open or CircuitState.Isolated);

    /// <summary>Forgets those that nobody called for a while: an address may be used once only, and hold a secret.</summary>
    public void Forget()
    {
        foreach (var (address, endpoint) in _known)
        {
            if (clock.GetUtcNow() - endpoint.LastCall > ForgottenAfter)
                _known.TryRemove(address, out _);
        }
    }

    /// <summary>Makes one call.</summary>
    public async Task<AttemptOutcome> Call(
        Uri endpoint,
        TimeSpan timeout,
        Func<CancellationToken, Task<AttemptOutcome>> call,
        CancellationToken stop
    )
    {
        var context = ResilienceContextPool.Shared.Get(stop);
        context.Properties.Set(TimeoutKey, timeout);
        try
        {
            var found = _known.GetOrAdd(endpoint.AbsoluteUri, _ => NewState());
            found.LastCall = clock.GetUtcNow();
            return await found.Pipeline.ExecuteAsync(async within => await call(within.CancellationToken), context);
        }
        catch (BrokenCircuitException broken)
        {
            return new("it failed too often, and is left alone for a while", broken.RetryAfter ?? settings.BreakFor, WasSent: false);
        }
        catch (TimeoutRejectedException)
        {
            return new(FormattableString.Invariant($"no answer within {timeout.TotalSeconds:0.###} s"));
        }
        catch (RateLimiterRejectedException)
        {
            return new("too many other notifications wait for the same endpoint", WasSent: false);
        }
        finally
        {
            ResilienceContextPool.Shared.Return(context);
        }
    }

    private EndpointState NewState()
    {
        var circuit = new CircuitBreakerStateProvider();
        var pipeline = new ResiliencePipelineBuilder<AttemptOutcome> { TimeProvider = clock }
            .AddConcurrencyLimiter(settings.AtOncePerEndpoint, queueLimit: settings.Most)
            .AddCircuitBreaker(
                new CircuitBreakerStrategyOptions<AttemptOutcome>
                {
                    ShouldHandle = new PredicateBuilder<AttemptOutcome>()
                        .Handle<TimeoutRejectedException>()
                        .HandleResult(attempt => attempt.Failure is not null),
                    FailureRatio = 0.9,
                    MinimumThroughput = FailuresToBreak,
                    SamplingDuration = TimeSpan.FromMinutes(2),
                    BreakDuration = settings.BreakFor,
                    StateProvider = circuit,
                }
            )
            .AddTimeout(
                new TimeoutStrategyOptions
                {
                    TimeoutGenerator = args => ValueTask.FromResult(args.Context.Properties.GetValue(TimeoutKey, settings.Timeout)),
                }
            )
            .Build();
        return new(pipeline, circuit) { LastCall = clock.GetUtcNow() };
    }

    /// <summary>What is known of an endpoint.</summary>
    private sealed record EndpointState(ResiliencePipeline<AttemptOutcome> Pipeline, CircuitBreakerStateProvider Circuit)
    {
        public DateTimeOffset LastCall { get; set; }
    }

    /// <summary>
    /// Tries again what failed, ever less often, and not before the endpoint asked for it. Ends with the first result that is no failure.
    /// </summary>
    public ResiliencePipeline<DeliveryOutcome> Retries { get; } =
        new ResiliencePipelineBuilder<DeliveryOutcome> { TimeProvider = clock }
            .AddRetry(
                new RetryStrategyOptions<DeliveryOutcome>
                {
                    ShouldHandle = new PredicateBuilder<DeliveryOutcome>().HandleResult(outcome => outcome is DeliveryOutcome.Failed),
                    MaxRetryAttempts = int.MaxValue,
                    BackoffType = DelayBackoffType.Exponential,
                    UseJitter = true,
                    Delay = settings.RetryFirst,
                    MaxDelay = settings.RetryLongest,
                    DelayGenerator = args =>
                        ValueTask.FromResult(
                            args.Outcome.Result is DeliveryOutcome.Failed { RetryAfter: { } wanted }
                                ? DelayOf(wanted, settings.RetryLongest)
                                : (TimeSpan?)null
                        ),
                }
            )
            .Build();

    /// <summary>As long as the endpoint asked for, within reason, and a little more, lest all come back at once.</summary>
    private static TimeSpan DelayOf(TimeSpan wanted, TimeSpan longest) =>
        TimeSpan.FromTicks(Math.Min(wanted.Ticks, longest.Ticks * 12)) * (1 + (Random.Shared.NextDouble() / 10));
}
