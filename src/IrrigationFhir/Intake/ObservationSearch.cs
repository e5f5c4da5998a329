using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.WebUtilities;

namespace IrrigationFhir.Intake;

/// <summary>Stored Observations that a condition finds: If-None-Exist, a search in place of a reference, an identifier.</summary>
internal sealed class ObservationSearch(ResourceStore resources, Searching searching, FhirSettings settings)
{
    private static readonly IndexedType Observations = IndexedTypes.Find("Observation")!;

    /// <summary>What a condition finds. One that is not understood is refused: what is left of it would find too much.</summary>
    /// <param name="condition">A query such as <c>identifier=system|value</c>, percent-encoded.</param>
    /// <param name="http">The request that it is part of.</param>
    /// <param name="stop">Gives up.</param>
    /// <returns>The first page of them, or why it is refused.</returns>
    public async Task<(IReadOnlyList<ResourceVersion> Found, OperationOutcome? Refused)> Find(
        string condition,
        HttpContext http,
        CancellationToken stop
    )
    {
        var pairs = OperationParameters.Pairs(QueryHelpers.ParseQuery(condition));
        var context = searching.Context(strict: true, FhirBase.Of(http.Request, settings));
        var (search, problems) = SearchReader.Read(Observations, pairs, context);
        if (search is null)
            return ([], Outcome.Of(problems));
        // What may not be shown is not found either. Who may find may not yet read: what is found is answered to whom it may be.
        var within = Caller.Of(http).Shown(Observations, Letters.Search) ?? [];
        return ((await resources.Search(search.Query with { Criteria = [.. search.Query.Criteria, .. within] }, stop)).Resources, null);
    }

    /// <summary>The Observation that has an identifier; null where none has.</summary>
    public async Task<ResourceVersion?> WithIdentifier(string system, string value, HttpContext http, CancellationToken stop)
    {
        var identifier = Uri.EscapeDataString($"{SearchText.Escape(system)}|{SearchText.Escape(value)}");
        return (await Find($"_count=1&identifier={identifier}", http, stop)).Found is [var only, ..] ? only : null;
    }
}
