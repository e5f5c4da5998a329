using System.Globalization;
using IrrigationFhir.Access;
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
        yield return new("metadata", asked => Task.FromResult<IFhirAnswer>(new FhirResult(statements.At(asked.Base))), AccessNeeds.Nothing);
        yield return new(
            "Observation/$lastn",
            asked => PatientOperations.Latest(asked, observation, store, searching.Context(asked)),
            AccessNeeds.Of("Observation", Letters.Read | Letters.Search)
        )
        {
            Posted = PostedBody.Parameters,
        };
        yield return new(
            "Patient/$everything",
            asked => PatientOperations.Everything(asked, null, store, searching.Context(asked)),
            AccessNeeds.AnyToken
        )
        {
            Posted = PostedBody.Parameters,
        };
        yield return new(
            "Patient/{id}/$everything",
            asked => PatientOperations.Everything(asked, asked.Id, store, searching.Context(asked)),
            AccessNeeds.AnyToken
        )
        {
            Posted = PostedBody.Parameters,
        };
    }

    private IEnumerable<FhirRead> OfType(IndexedType type)
    {
        var name = type.Name;
        var (read, search) = (AccessNeeds.Of(name, Letters.Read), AccessNeeds.Of(name, Letters.Search));
        yield return new($"{name}/_history", asked => TypeHistory(asked, type), AccessNeeds.Of(name, Letters.Read | Letters.Search));
        yield return new(name, asked => searching.Search(asked, type), search);
        yield return new($"{name}/_search", asked => searching.Search(asked, type), search) { Posted = PostedBody.Form };
        yield return new($"{name}/{{id}}", asked => Read(asked, type), read);
        yield return new($"{name}/{{id}}/_history", asked => History(asked, type), read);
        yield return new($"{name}/{{id}}/_history/{{version}}", asked => VersionRead(asked, type), read);
    }

    private async Task<IFhirAnswer> Read(FhirQuestion asked, IndexedType type) =>
        await Shown(asked, type) is { } stored ? Reply(asked, stored) : NotFound($"{type.Name}/{asked.Id}");

    // What may be shown of a resource goes by how it is now: its earlier versions are shown to whom it is.
    private async Task<IFhirAnswer> VersionRead(FhirQuestion asked, IndexedType type) =>
        long.TryParse(asked.Version, NumberStyles.None, CultureInfo.InvariantCulture, out var number)
        && await Shown(asked, type) is not null
        && await store.VersionRead(type.Name, asked.Id, number, asked.Stop) is { } stored
            ? Reply(asked, stored)
            : NotFound($"{type.Name}/{asked.Id}/_history/{asked.Version}");

    private async Task<ResourceVersion?> Shown(FhirQuestion asked, IndexedType type) =>
        asked.Shown(type, Letters.Read) is { } within ? await store.Read(type, asked.Id, within, asked.Stop) : null;

    private static IFhirAnswer Reply(FhirQuestion asked, ResourceVersion stored)
    {
        var (shape, problems) = Shaping.OfRead(asked.Query);
        return shape is null ? new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems)) : new ResourceResult(stored, shape);
    }

    private async Task<IFhirAnswer> History(FhirQuestion asked, IndexedType type)
    {
        var (request, problems) = HistoryRequest.Read(asked.Query, settings, kept.TimeZone);
        if (request is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        var id = asked.Id;
        if (await Shown(asked, type) is null)
            return NotFound($"{type.Name}/{id}");
        var versions = await store.History(type.Name, id, request.Count + 1, request.Since, request.Before, asked.Stop);

        var page = versions.Take(request.Count).ToList();
        var address = $"{asked.Base}/{type.Name}/{id}/_history";
        var next =
            versions.Count > page.Count && page.Count > 0 ? address + (request with { Before = page[^1].VersionId }).ToQuery() : null;
        return new BundleResult(Bundles.History(asked.Base, page, address + request.ToQuery(), next))
        {
            Shown = [.. page.Select(ShownVersion.Of)],
        };
    }

    private async Task<IFhirAnswer> TypeHistory(FhirQuestion asked, IndexedType type)
    {
        var (request, problems) = HistoryRequest.Read(asked.Query, settings, kept.TimeZone, ofType: true);
        if (request is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        var within = asked.Shown(type, Letters.Read | Letters.Search) ?? [];
        var versions = await store.TypeHistory(type, request.Count + 1, request.Since, request.BeforeStored, within, asked.Stop);
        var page = versions.Take(request.Count).ToList();
        var address = $"{asked.Base}/{type.Name}/_history";
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
