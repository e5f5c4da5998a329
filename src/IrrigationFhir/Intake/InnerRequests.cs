using IrrigationFhir.Access;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using Microsoft.AspNetCore.Routing.Patterns;
using Microsoft.AspNetCore.WebUtilities;

namespace IrrigationFhir.Intake;

/// <summary>A GET within a Bundle: what <see cref="FhirReads"/> has at its address, asked by whoever sent the Bundle.</summary>
internal sealed class InnerRequests(FhirReads reads, FhirSettings settings)
{
    /// <summary>
    /// Gets an address below the FHIR base, such as <c>Observation?code=…</c>; unknown search parameters fail with
    /// <paramref name="strict"/>.
    /// </summary>
    public async Task<IFhirAnswer> Get(HttpContext outer, string address, bool strict)
    {
        var (encoded, text) = address.IndexOf('?', StringComparison.Ordinal) is var mark and >= 0
            ? (address[..mark], address[mark..])
            : (address, "");
        var path = Uri.UnescapeDataString(encoded.TrimStart('/'));
        var query = new QueryCollection(QueryHelpers.ParseQuery(text));
        if (reads.At(path) is not var (read, parts))
        {
            return new OutcomeResult(
                StatusCodes.Status404NotFound,
                Outcome.Problem("unknown-address", address, "an address below the FHIR base", null)
            );
        }

        if (Negotiation.Refusal(query) is { } refused)
            return refused;
        if (!FhirApi.IsExactCase(RoutePatternFactory.Parse(read.Address), path))
            return FhirReading.NotFound($"{FhirBase.Path}/{path}");
        return await reads.Answer(
            read,
            new(
                Caller.Of(outer),
                FhirBase.Of(outer.Request, settings),
                strict,
                query,
                [.. OperationParameters.Pairs(query)],
                parts,
                outer.RequestAborted
            )
            {
                Asked = $"GET {FhirBase.Path}/{address.TrimStart('/')}",
            }
        );
    }
}
