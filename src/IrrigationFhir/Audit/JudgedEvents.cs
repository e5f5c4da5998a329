using IrrigationFhir.Health;
using IrrigationFhir.Store;
using Microsoft.Extensions.Diagnostics.HealthChecks;

namespace IrrigationFhir.Audit;

/// <summary>Has one in <see cref="OneIn"/> AuditEvents judged by <see cref="AuditRules"/> while the service runs.</summary>
/// <remarks>
/// Both were written by the same people: a difference is a mistake in this program that no test had met. Looked at is what is recorded of
/// reads, as it is stored, and whatever is shown. An event that breaks a rule is shown all the same, for it is what there is.
/// </remarks>
internal sealed class JudgedEvents(ILogger<JudgedEvents> log)
{
    /// <summary>Of so many one is judged; the first is.</summary>
    public const int OneIn = 64;

    private int _seen = -1;
    private int _wrong;

    /// <summary>How many broke a rule. More than 0 is a mistake in this program.</summary>
    public int Wrong => Volatile.Read(ref _wrong);

    /// <summary>Judges an event, where it is its turn.</summary>
    public void Look(AuditRow row)
    {
        if (
            (Interlocked.Increment(ref _seen) & int.MaxValue) % OneIn != 0
            || AuditRules.Faults(AuditEventMapper.ToEvent(row)) is not [var first, ..]
        )
            return;
        Interlocked.Increment(ref _wrong);
        log.LogError("An AuditEvent is not as its profile asks: {Rule}; report it", first); // a rule is ours and names nobody
    }
}

/// <summary>
/// Degraded while what was read waits because it cannot be stored, and once an event broke a rule of its profile: neither keeps anybody
/// from working.
/// </summary>
internal sealed class AuditHealth(AuditQueue queue, JudgedEvents judged, StoreWaiting storing) : IHealthCheck
{
    /// <inheritdoc/>
    public Task<HealthCheckResult> CheckHealthAsync(HealthCheckContext context, CancellationToken cancellationToken = default)
    {
        var data = new Dictionary<string, object> { ["wrongEvents"] = judged.Wrong, ["waitingBytes"] = queue.Bytes };
        return Task.FromResult(
            storing.IsFailing ? HealthCheckResult.Degraded("what was read cannot be recorded just now and waits in a file", data: data)
            : queue.Unreadable > 0
                ? HealthCheckResult.Degraded("what a command exported is recorded in a file that may not be read", data: data)
            : judged.Wrong > 0 ? HealthCheckResult.Degraded("an AuditEvent is not as its profile asks; report it", data: data)
            : HealthCheckResult.Healthy("what is read is recorded", data)
        );
    }

    /// <summary>The same as figures.</summary>
    public static void Measure(Figures figures, AuditQueue queue, JudgedEvents judged) =>
        figures.Read<AuditQueue>(
            _ => Task.FromResult<AuditQueue?>(queue),
            new("irrigationfhir.audit.waiting_bytes", "By", "Bytes of reads that wait to be stored.", now => now.Bytes),
            new(
                "irrigationfhir.audit.wrong_events",
                "{event}",
                "AuditEvents that were not as their profile asks: a mistake in this program.",
                _ => judged.Wrong
            )
        );
}
