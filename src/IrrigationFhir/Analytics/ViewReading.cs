using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;

namespace IrrigationFhir.Analytics;

/// <summary>Our views as they are read below the FHIR base: by id, and searched by url, name and resource.</summary>
/// <remarks>A ViewDefinition is no type of R4, and so in no CapabilityStatement's list of types.</remarks>
internal sealed class ViewReading(DomainViews views)
{
    private static readonly string[] Searched = ["_id", "name", "resource", "status", "url", "version"];

    /// <summary>What can be read.</summary>
    public ReadableFhir Table() =>
        new([
            new("ViewDefinition", asked => Task.FromResult(Search(asked)), AccessNeeds.AnyToken),
            new("ViewDefinition/{id}", asked => Task.FromResult(Read(asked)), AccessNeeds.AnyToken),
        ]);

    private IFhirAnswer Read(FhirQuestion asked) =>
        views.All.FirstOrDefault(view => view.Id == asked.Id) is { } found
            ? new JsonResource(found.Json)
            : Unknown($"ViewDefinition/{asked.Id}");

    /// <summary>The answer where no view is of that name.</summary>
    public OutcomeResult Unknown(string name) =>
        new(
            StatusCodes.Status404NotFound,
            Outcome.Problem("unknown-resource", name, $"the id of a view: {string.Join(", ", views.All.Select(view => view.Id))}", null)
        );

    private IFhirAnswer Search(FhirQuestion asked)
    {
        var strange = asked
            .Parameters.Where(pair =>
                !Searched.Contains(pair.Key) && pair.Key is not ("_format" or "_pretty" or "_count" or "_total" or "_summary")
            )
            .Select(pair =>
                Outcome.Problem("search-parameter-unknown", "not searched by", $"one of {string.Join(", ", Searched)}", pair.Key)
            )
            .ToList();
        if (asked.Strict && strange.Count > 0)
            return new OutcomeResult(StatusCodes.Status400BadRequest, Outcome.Of(strange));

        var wanted = asked.Parameters.Where(pair => Searched.Contains(pair.Key)).ToList();
        var found = views.All.Where(view => wanted.All(pair => pair.Value.Split(',').Any(value => IsOf(view, pair.Key, value)))).ToList();
        var self = string.Concat(wanted.Select((pair, i) => $"{(i == 0 ? '?' : '&')}{pair.Key}={Uri.EscapeDataString(pair.Value)}"));
        return new JsonResource(
            new()
            {
                ["resourceType"] = "Bundle",
                ["type"] = "searchset",
                ["total"] = found.Count,
                ["link"] = new JsonArray(new JsonObject { ["relation"] = "self", ["url"] = $"{asked.Base}/ViewDefinition{self}" }),
                ["entry"] = new JsonArray([
                    .. found.Select(view => new JsonObject
                    {
                        ["fullUrl"] = $"{asked.Base}/ViewDefinition/{view.Id}",
                        ["resource"] = view.Json.DeepClone(),
                        ["search"] = new JsonObject { ["mode"] = "match" },
                    }),
                ]),
            }
        );
    }

    private static bool IsOf(PublishedView view, string parameter, string value) =>
        parameter == "_id" ? view.Id == value
        // A text is searched by how it begins, whatever its case.
        : parameter == "name" ? view.View.Name.StartsWith(value, StringComparison.OrdinalIgnoreCase)
        : (string?)view.Json[parameter] == value || (parameter == "url" && value == $"{view.View.Url}|{view.View.Version}");

    private sealed class JsonResource(JsonObject json) : IFhirAnswer
    {
        private readonly byte[] _json = Encoding.UTF8.GetBytes(json.ToJsonString());

        public int StatusCode => StatusCodes.Status200OK;

        public ReadOnlyMemory<byte> Json(Vocabulary vocabulary) => _json;

        public Task ExecuteAsync(HttpContext httpContext) => FhirReply.Write(httpContext, StatusCode, _json);
    }
}
