using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using Microsoft.AspNetCore.RateLimiting;

namespace IrrigationFhir.Intake;

/// <summary>So many writing FHIR requests at once and no more: whoever is one too many is asked to come back.</summary>
internal static class WritesAtOnce
{
    /// <summary>The name of the limit, for routes.</summary>
    public const string Policy = "fhir-writes";

    /// <summary>Sets it. Nobody waits in line here: a sender that is told knows better what to do.</summary>
    /// <remarks>
    /// A Bundle takes one place, whatever it holds: were it to take another for each entry, Bundles that fill all places would refuse their
    /// own entries. Its entries go to the same <see cref="RecordObservations"/> as a single Observation, and one after another.
    /// </remarks>
    /// <param name="limits">The service's limits.</param>
    /// <param name="most">How many at once.</param>
    public static void Limit(RateLimiterOptions limits, int most)
    {
        limits.AddConcurrencyLimiter(Policy, limit => limit.PermitLimit = most);
        limits.OnRejected = async (rejected, _) =>
        {
            rejected.HttpContext.Response.Headers.RetryAfter = "1";
            var problem = Outcome.Problem(
                "too-many-requests",
                $"more than {most} writing requests at once",
                "the same request again after a pause; Retry-After says how long",
                null
            );
            await new OutcomeResult(StatusCodes.Status429TooManyRequests, problem).ExecuteAsync(rejected.HttpContext);
        };
    }
}
