using System.Text.Json;
using Hl7.Fhir.Model;
using Irrigation.Episodes;
using IrrigationFhir.Access;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using IrrigationFhir.Validation;

namespace IrrigationFhir.Intake;

/// <summary>
/// <c>$validate</c>: what this service would say of a resource, without keeping it. Nothing is looked up outside this assembly, whatever
/// URL is given.
/// </summary>
internal sealed class ValidateOperation(ProfileValidator profiles, RecordObservations observations, ResourceStore resources)
{
    private static readonly string[] Modes = ["create", "update", "delete"];

    /// <summary>
    /// Validates what was sent, or for an id and no resource what is stored. 200 with the outcome, also where it has errors.
    /// </summary>
    public async Task<IResult> Handle(string type, string? id, JsonElement? body, HttpContext http, CancellationToken stop)
    {
        var query = http.Request.Query;
        var (json, profile, mode) = (body, query["profile"].FirstOrDefault(), query["mode"].FirstOrDefault());
        if (body is { } parameters && parameters.TextOf("resourceType") == "Parameters")
        {
            json = null;
            foreach (
                var parameter in parameters.TryGetProperty("parameter", out var list) && list.ValueKind == JsonValueKind.Array
                    ? list.EnumerateArray().ToList()
                    : []
            )
            {
                switch (parameter.TextOf("name"))
                {
                    case "resource" when parameter.TryGetProperty("resource", out var given):
                        json = given;
                        break;
                    case "profile":
                        profile = parameter.TextOf("valueUri") ?? parameter.TextOf("valueCanonical");
                        break;
                    case "mode":
                        mode = parameter.TextOf("valueCode");
                        break;
                }
            }
        }

        if (mode is not null && !Modes.Contains(mode))
            return Refused(EntryProblem.UnknownWord("Parameters.parameter.where(name='mode')", mode, Modes));
        if (json is null && id is null)
            return mode == "delete"
                ? Refused(EntryProblem.Missing("id", "an address with an id: delete concerns what is stored"))
                : Refused(EntryProblem.Missing("Parameters.parameter.where(name='resource')", $"a {type}"));
        if (json is null)
        {
            var kind = IndexedTypes.Find(type)!;
            if (
                Caller.Of(http).Shown(kind, Letters.Read) is not { } within
                || await resources.Read(kind, id!, within, stop) is not { } stored
            )
                return new OutcomeResult(
                    StatusCodes.Status404NotFound,
                    Outcome.Problem("unknown-resource", $"{type}/{id}", "the id of a stored resource", null)
                );
            if (mode == "delete")
                return new OutcomeResult(StatusCodes.Status200OK, Outcomes.Of([IntakeApi.NoDelete(type)]));
            using var document = JsonDocument.Parse(stored.Json);
            json = document.RootElement.Clone();
        }

        return new OutcomeResult(
            StatusCodes.Status200OK,
            Judge(type, json.Value, profile, AsIntake(type, json.Value, profile, mode, body is not null))
        );
    }

    /// <summary>
    /// Whether it is judged as what the intake would get: an Observation that is to be created or changed, or of which nothing is said.
    /// Without a mode, one under a profile of ours is judged as what we publish, by that profile.
    /// </summary>
    private bool AsIntake(string type, JsonElement json, string? profile, string? mode, bool sent) =>
        type == "Observation"
        && sent
        && (mode is "create" or "update" || (mode is null && profile is null && !observations.ClaimsOurs(json)));

    private OperationOutcome Judge(string type, JsonElement json, string? profile, bool asIntake)
    {
        if (json.TextOf("resourceType") != type)
            return Outcomes.Of([EntryProblem.UnknownWord("resourceType", json.TextOf("resourceType") ?? "none", [type])]);
        var (refused, warnings) = asIntake ? observations.Judge(json, "Observation") : ([], []);
        var problems = new List<EntryProblem>(refused);
        if (!asIntake || profile is not null)
            problems.AddRange(ByProfile(json, profile).Where(p => !refused.Any(known => RecordObservations.Covers(known.Where, p.Where))));
        return problems.Count == 0
            ? Outcomes.AllIsWell("no errors", warnings)
            : new() { Issue = [.. Outcomes.Of(problems).Issue, .. warnings] };
    }

    private IReadOnlyList<EntryProblem> ByProfile(JsonElement json, string? profile)
    {
        var (resource, faults) = ResourceJson.Read<Resource>(json);
        if (resource is null)
            return faults;
        if (profile is not null)
        {
            resource.Meta ??= new();
            resource.Meta.Profile = [profile];
        }

        return [.. profiles.Validate(resource).Select(f => new EntryProblem(f.Key, f.Where, f.Text, "what its profile and R4 require"))];
    }

    private static OutcomeResult Refused(EntryProblem problem) => new(StatusCodes.Status400BadRequest, Outcomes.Of([problem]));
}
