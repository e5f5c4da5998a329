using System.Globalization;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>What is read of the resources that are kept: read, version read, history, search, a patient's operations, metadata.</summary>
internal sealed class FhirReading(
    ResourceStore store,
    CapabilityStatements statements,
    Searching searching,
    FhirSettings settings,
    StoreSettings kept
)
{
    /// <summary>All of it, for every type in <see cref="IndexedTypes"/>.</summary>
    public ReadableFhir Table() => new([.. Whole(), .. IndexedTypes.All.SelectMany(OfType)]);

    private IEnumerable<FhirRead> Whole()
    {
        var observation = IndexedTypes.Find("Observation")!;
        yield return new("metadata", asked => Task.FromResult<IFhirAnswer>(new FhirResult(statements.At(asked.Base))));
        yield return new("Observation/$lastn", asked => PatientOperations.Latest(asked, observation, store, searching.Context(asked)))
        {
            Posted = PostedBody.Parameters,
        };
        yield return new("Patient/$everything", asked => PatientOperations.Everything(asked, null, store, searching.Context(asked)))
        {
            Posted = PostedBody.Parameters,
        };
        yield return new(
            "Patient/{id}/$everything",
            asked => PatientOperations.Everything(asked, asked.Id, store, searching.Context(asked))
        )
        {
            Posted = PostedBody.Parameters,
        };
    }

    private IEnumerable<FhirRead> OfType(IndexedType type)
    {
        var name = type.Name;
        yield return new($"{name}/_history", asked => TypeHistory(asked, name));
        yield return new(name, asked => searching.Search(asked, type));
        yield return new($"{name}/_search", asked => searching.Search(asked, type)) { Posted = PostedBody.Form };
        yield return new($"{name}/{{id}}", asked => Read(asked, name));
        yield return new($"{name}/{{id}}/_history", asked => History(asked, name));
        yield return new($"{name}/{{id}}/_history/{{version}}", asked => VersionRead(asked, name));
    }

    private async Task<IFhirAnswer> Read(FhirQuestion asked, string type) =>
        await store.Read(type, asked.Id, asked.Stop) is { } stored ? Reply(asked, stored) : NotFound($"{type}/{asked.Id}");

    private async Task<IFhirAnswer> VersionRead(FhirQuestion asked, string type) =>
        long.TryParse(asked.Version, NumberStyles.None, CultureInfo.InvariantCulture, out var number)
        && await store.VersionRead(type, asked.Id, number, asked.Stop) is { } stored
            ? Reply(asked, stored)
            : NotFound($"{type}/{asked.Id}/_history/{asked.Version}");

    private static IFhirAnswer Reply(FhirQuestion asked, ResourceVersion stored)
    {
        var (shape, problems) = Shaping.OfRead(asked.Query);
        return shape is null ? new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems)) : new ResourceResult(stored, shape);
    }

    private async Task<IFhirAnswer> History(FhirQuestion asked, string type)
    {
        var (request, problems) = HistoryRequest.Read(asked.Query, settings, kept.TimeZone);
        if (request is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        var id = asked.Id;
        var versions = await store.History(type, id, request.Count + 1, request.Since, request.Before, asked.Stop);
        if (versions.Count == 0 && await store.Read(type, id, asked.Stop) is null)
            return NotFound($"{type}/{id}");

        var page = versions.Take(request.Count).ToList();
        var address = $"{asked.Base}/{type}/{id}/_history";
        var next =
            versions.Count > page.Count && page.Count > 0 ? address + (request with { Before = page[^1].VersionId }).ToQuery() : null;
        return new BundleResult(Bundles.History(asked.Base, page, address + request.ToQuery(), next))
        {
            Shown = [.. page.Select(ShownVersion.Of)],
        };
    }

    private async Task<IFhirAnswer> TypeHistory(FhirQuestion asked, string type)
    {
        var (request, problems) = HistoryRequest.Read(asked.Query, settings, kept.TimeZone, ofType: true);
        if (request is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        var versions = await store.TypeHistory(type, request.Count + 1, request.Since, request.BeforeStored, asked.Stop);
        var page = versions.Take(request.Count).ToList();
        var address = $"{asked.Base}/{type}/_history";
        var next =
            versions.Count > page.Count ? address + (request with { BeforeStored = (page[^1].LastUpdated, page[^1].Id) }).ToQuery() : null;
        return new BundleResult(Bundles.History(asked.Base, page, address + request.ToQuery(), next))
        {
            Shown = [.. page.Select(ShownVersion.Of)],
        };
    }

    /// <summary>The answer where nothing is at an address.</summary>
    public static OutcomeResult NotFound(string address) =>
        new(
            StatusCodes.Status404NotFound,
            Outcome.Problem("unknown-resource", address, "the type, id and version of a stored resource", null)
        );
}
