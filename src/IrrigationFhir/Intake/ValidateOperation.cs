using System.Text.Json;
using Hl7.Fhir.Model;
using Irrigation.Episodes;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
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
    public async Task<IResult> Handle(string type, string? id, JsonElement? body, IQueryCollection query, CancellationToken stop)
    {
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
            if (await resources.Read(type, id!, stop) is not { } stored)
                return new OutcomeResult(
                    StatusCodes.Status404NotFound,
                    Outcome.Problem("unknown-resource", $"{type}/{id}", "the id of a stored resource", null)
                );
            if (mode == "delete")
                return new OutcomeResult(StatusCodes.Status200OK, Outcomes.Of([IntakeApi.NoDelete(type)]));
            using var document = JsonDocument.Parse(stored.Json);
            json = document.RootElement.Clone();
        }

        return new OutcomeResult(StatusCodes.Status200OK, Judge(type, json.Value, profile, mode));
    }

    private OperationOutcome Judge(string type, JsonElement json, string? profile, string? mode)
    {
        if (json.TextOf("resourceType") != type)
            return Outcomes.Of([EntryProblem.UnknownWord("resourceType", json.TextOf("resourceType") ?? "none", [type])]);
        var (resource, faults) = ResourceJson.Read<Resource>(json);

        // Asked whether it could be created or changed, the intake answers too, and says better what is malformed.
        var refused = mode is "create" or "update" && type == "Observation" ? observations.Judge(json, "Observation") : [];
        var problems = faults.Where(fault => !refused.Any(known => RecordObservations.Covers(known.Where, fault.Where))).ToList();
        if (resource is not null)
        {
            if (profile is not null)
            {
                resource.Meta ??= new();
                resource.Meta.Profile = [profile];
            }

            problems.AddRange(
                profiles.Validate(resource).Select(f => new EntryProblem(f.Key, f.Where, f.Text, "what its profile and R4 require"))
            );
        }

        problems.AddRange(refused.Where(p => !problems.Exists(known => known.Where == p.Where)));
        return problems.Count == 0 ? Outcomes.AllIsWell("no errors") : Outcomes.Of(problems);
    }

    private static OutcomeResult Refused(EntryProblem problem) => new(StatusCodes.Status400BadRequest, Outcomes.Of([problem]));
}
