using System.Globalization;
using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Problems;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Http.Extensions;

namespace IrrigationFhir.Rest;

/// <summary>The operations that read a patient's resources: <c>Observation/$lastn</c> and <c>Patient/$everything</c>.</summary>
internal static class PatientOperations
{
    /// <summary>What the CapabilityStatement says of <c>$lastn</c>.</summary>
    public const string LatestPolicy =
        "patient or subject (also as patient.identifier) and code or category are required; max is 1 unless given; "
        + "other search parameters narrow down. "
        + "Observations have the same code when all their codings are the same. "
        + "The latest is the one whose effective time ends last; "
        + "all that share the time of the last one sent are sent too. "
        + "What was entered in error is left out unless status asks for it. The reply is not paged.";

    /// <summary>What the CapabilityStatement says of <c>$everything</c>.</summary>
    public const string EverythingPolicy =
        "Patients are not held here: resources refer to them by identifier, by address, or both. "
        + "Patient/$everything?identifier=system|value gives what refers to that identifier, "
        + "Patient/[id]/$everything what refers to Patient/[id]. The Patient resource itself is not among it. "
        + "start and end keep what happened at least partly between them, and what has no date; "
        + "every Provenance of the patient's resources comes along whatever they say. "
        + "_since keeps what was stored at or after it; _type names the types wanted; _count is the size of a page.";

    private const string WithoutEffect = "a parameter that plays no part here";
    private const string Expected = "max, and parameters that narrow the search down";

    private static readonly string[] WithoutEffectOnLastN =
    [
        "_count",
        "_sort",
        "_total",
        "_include",
        "_include:iterate",
        "_revinclude",
        "_revinclude:iterate",
    ];

    /// <summary><c>$lastn</c>.</summary>
    public static async Task<IFhirAnswer> Latest(FhirQuestion asked, IndexedType type, ResourceStore store, SearchContext context)
    {
        var given = asked.Parameters.ToLookup(pair => pair.Key is "max");
        var problems = new List<OperationOutcome.IssueComponent>();
        var most = 1;
        if (given[true].LastOrDefault() is { Key: not null } max)
        {
            if (int.TryParse(max.Value, NumberStyles.None, CultureInfo.InvariantCulture, out var wanted) && wanted > 0)
                most = Math.Min(wanted, context.MaxCount);
            else
                problems.Add(Invalid("max", $"'{max.Value}'", "a whole number, 1 or more"));
        }

        var ignored = given[false].Select(pair => pair.Key).Where(WithoutEffectOnLastN.Contains).ToList();
        if (context.Strict)
            problems.AddRange(ignored.Select(name => Outcome.Problem("search-parameter-unknown", WithoutEffect, Expected, name)));
        var (search, found) = SearchReader.Read(type, given[false].Where(pair => !WithoutEffectOnLastN.Contains(pair.Key)), context);
        problems.AddRange(found);
        if (search is not null)
        {
            if (!search.Query.Criteria.Any(criterion => criterion is SearchCriterion.Subject))
                problems.Add(Required("patient", "no patient", "patient or subject, or patient.identifier"));
            if (!search.Query.Criteria.Any(criterion => criterion is SearchCriterion.Coded { Not: false, Rows: ["code"] or ["category"] }))
                problems.Add(Required("code", "neither code nor category", "code or category"));
        }

        if (problems.Count > 0 || search is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        var query = search.Query;
        if (!query.Criteria.Any(criterion => criterion is SearchCriterion.Statuses))
            query = query with { Criteria = [.. query.Criteria, new SearchCriterion.Statuses(["entered-in-error"], Not: true)] };
        query = query with { Criteria = [.. query.Criteria, .. asked.Shown(type, Letters.Read | Letters.Search) ?? []] };
        var latest = await store.Latest(query, most, asked.Stop);
        var passedOver = ignored.Select(name => Outcome.PassedOver(name, WithoutEffect, Expected)).Concat(search.PassedOver).ToList();
        var honoured = search
            .Honoured.Where(pair => pair.Key is not "_count")
            .Append(new("max", most.ToString(CultureInfo.InvariantCulture)));
        return new BundleResult(words =>
            Bundles.Search(
                context.Base,
                new(latest, null, latest.Count, [], true),
                $"{context.Base}/{type.Name}/$lastn{new QueryBuilder(honoured)}",
                null,
                search.Shape,
                passedOver,
                words
            )
        )
        {
            Shown = [.. latest.Select(ShownVersion.Of)],
        };
    }

    /// <summary><c>$everything</c> of the patient of an id, or of the identifier in the request.</summary>
    public static async Task<IFhirAnswer> Everything(FhirQuestion asked, string? id, ResourceStore store, SearchContext context)
    {
        var (request, problems) = EverythingRequest.Read(id, asked.Parameters, context);
        if (request is null)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(problems));

        // Of what is asked for in so many words all has to be allowed; where nothing is named, what is not allowed is left out.
        IReadOnlyList<SearchCriterion>? Shown(IndexedType type) => asked.Shown(type, Letters.Read | Letters.Search);
        var named = request.Honoured.Any(pair => pair.Key == "_type");
        if (named ? request.Remaining.Any(type => Shown(type) is null) : IndexedTypes.OfPatients.All(type => Shown(type) is null))
            return FhirReads.Forbidden;

        var resources = new List<ResourceVersion>();
        (IndexedType Type, SearchPosition Position)? next = null;
        foreach (var type in request.Remaining)
        {
            if (Shown(type) is not { } within)
                continue;
            var room = request.Count - resources.Count;
            var query = new SearchQuery(
                type,
                [.. request.CriteriaOf(type), .. within],
                [],
                Math.Max(room, 1),
                type == request.Remaining[0] ? request.After : null
            );
            var page = await store.Search(query, asked.Stop);
            if (room == 0)
            {
                // The page is full; whether another follows depends on whether anything of the types to come is there.
                if (page.Resources.Count > 0)
                {
                    next = (type, EverythingRequest.Beginning);
                    break;
                }

                continue;
            }

            resources.AddRange(page.Resources);
            if (page.Next is { } position)
            {
                next = (type, position);
                break;
            }
        }

        if (resources.Count == 0 && !await IsKnown(request.Patient, Shown, store, asked.Stop))
        {
            return new OutcomeResult(
                StatusCodes.Status404NotFound,
                Outcome.Problem(
                    "unknown-patient",
                    "a patient to whom no resource here refers",
                    "the id or the identifier of a patient of whom something is recorded",
                    null
                )
            );
        }

        var address = $"{context.Base}/Patient/{(id is null ? "" : Uri.EscapeDataString(id) + "/")}$everything";
        return new BundleResult(words =>
            Bundles.Search(
                context.Base,
                new(resources, null, null, [], true),
                address + request.ToQuery(request.Page),
                next is { } there ? address + request.ToQuery(EverythingRequest.Mark(there.Type, there.Position)) : null,
                Shape.Whole,
                request.PassedOver,
                words
            )
        )
        {
            Shown = [.. resources.Select(ShownVersion.Of)],
        };
    }

    private static async Task<bool> IsKnown(
        ReferenceTest patient,
        Func<IndexedType, IReadOnlyList<SearchCriterion>?> shown,
        ResourceStore store,
        CancellationToken stop
    )
    {
        foreach (var type in IndexedTypes.OfPatients)
        {
            if (shown(type) is { } within && await store.IsKnown(type, patient, within, stop))
                return true;
        }

        return false;
    }

    internal static OperationOutcome.IssueComponent Invalid(string name, string saw, string expected) =>
        Outcome.Problem("search-value-invalid", saw, expected, name);

    internal static OperationOutcome.IssueComponent Required(string name, string saw, string expected) =>
        Outcome.Problem("parameter-required", saw, expected, name);
}
