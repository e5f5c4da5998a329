using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using static Hl7.Fhir.Model.AuditEvent;

namespace IrrigationFhir.Audit;

/// <summary>What the profiles of IHE Basic Audit Log Patterns 1.1 ask of an AuditEvent, as rules of our own, each with its source.</summary>
/// <remarks>
/// Read in the guide's sources (https://github.com/IHE/ITI.BasicAudit, input/fsh), which are not shipped. An event is judged by the
/// profiles that it claims; one that claims none by what all of ours have.
/// </remarks>
internal static class AuditRules
{
    /// <summary>A rule.</summary>
    /// <param name="Key">Profile, and what of it.</param>
    /// <param name="Holds">Whether an event keeps it.</param>
    private sealed record Rule(string Key, Func<AuditEvent, bool> Holds);

    // PatientRead.fsh, PatientQuery.fsh, PatientCreate.fsh, PatientUpdate.fsh: what all four have alike.
    private static IEnumerable<Rule> Rest(string action, string client, string server, params string[] interactions) =>
        [
            new("type is rest", e => Is(e.Type, Codes.Audit.Rest)),
            new(
                "one interaction of the pattern",
                e => e.Subtype.Count(s => s.System == Codes.Audit.Interactions && interactions.Contains(s.Code)) == 1
            ),
            new("action", e => e.Action.ToString() == action),
            new("recorded", e => e.Recorded is not null),
            new("outcome is success", e => e.Outcome == AuditEventOutcome.N0),
            new("two agents or more", e => e.Agent.Count >= 2),
            new("one client", e => One(e, client) is { Who: not null, Network: not null, Media: null }),
            new("one server", e => One(e, server) is { Who: not null, Network: not null, Media: null }),
            new("one transaction at most", e => Entities(e, Codes.Audit.Transaction).All(t => t.What?.Identifier?.Value is not null)),
            new("one transaction at most", e => Entities(e, Codes.Audit.Transaction).Count() <= 1),
        ];

    // PatientRead.fsh etc.: entity[data]; RestObjectRoles.
    private static Coding[] RestObjectRoles => [Codes.Audit.AsResource, Codes.Audit.AsReport, Codes.Audit.AsJob];

    private static IEnumerable<Rule> Data =>
        [
            new("one system object", e => Entities(e, Codes.Audit.SystemObject).Count() == 1),
            new("it says what", e => Entities(e, Codes.Audit.SystemObject).All(data => data.What is not null)),
            new(
                "it is a resource, a report or a job",
                e => Entities(e, Codes.Audit.SystemObject).All(data => RestObjectRoles.Any(role => Is(data.Role, role)))
            ),
        ];

    // PatientQuery.fsh: entity[query].
    private static IEnumerable<Rule> Query =>
        [
            new("one query", e => Entities(e, Codes.Audit.SystemObject).Count() == 1),
            new(
                "it is a query, says which, and nothing else",
                e =>
                    Entities(e, Codes.Audit.SystemObject)
                        .All(query =>
                            query is { Query.Length: > 0, What: null, Lifecycle: null, Detail.Count: 0 }
                            && Is(query.Role, Codes.Audit.AsQuery)
                        )
            ),
        ];

    // The Patient… profile of each: entity[patient].
    private static IEnumerable<Rule> Patient =>
        [
            new("one patient", e => Entities(e, Codes.Audit.Person).Count() == 1),
            new("in the part of the patient", e => Entities(e, Codes.Audit.Person).All(patient => Is(patient.Role, Codes.Audit.AsPatient))),
            new(
                "by a reference to a Patient",
                e =>
                    Entities(e, Codes.Audit.Person)
                        .All(p => p.What is { Type: "Patient" } what && (what.Identifier is not null || what.Reference is not null))
            ),
        ];

    // Disclose.fsh: AuditPrivacyDisclosureSource, and its invariant val-audit-source.
    private static IEnumerable<Rule> Disclosure =>
        [
            new("no modifier extension", e => e.ModifierExtension.Count == 0),
            new("type is Export", e => Is(e.Type, Codes.Audit.Export)),
            new("one disclosure", e => e.Subtype.Count(subtype => Is(subtype, Codes.Audit.Disclosure)) == 1),
            new("action", e => e.Action == AuditEventAction.R),
            new("outcome", e => e.Outcome is not null),
            new("one source", e => One(e, "110153") is { Who: not null, Network: not null }),
            new("the source reports it", e => One(e, "110153")?.Who.IsExactly(e.Source?.Observer) == true),
            new("one recipient", e => One(e, "110152") is { Who: not null, Network: not null }),
            new("a patient and what was disclosed", e => e.Entity.Count >= 2),
        ];

    // IUAaccessToken.fsh: OAUTHaccessTokenUseMinimal.
    private static IEnumerable<Rule> Token =>
        [
            new("a holder of the token", e => Holders(e).Any()),
            new("who asks", e => Holders(e).All(holder => holder.Requestor == true)),
            new(
                "the id of the token",
                e =>
                    Holders(e)
                        .All(holder =>
                            holder.Policy.Count() == 1
                            && holder.Policy.Single()!.StartsWith(Codes.Audit.TokenPolicy, StringComparison.Ordinal)
                        )
            ),
            new("no network, no media", e => Holders(e).All(holder => holder is { Network: null, Media: null })),
        ];

    // What all of ours have, and base R4 asks for (http://hl7.org/fhir/R4/auditevent.html, with sev-1).
    private static IEnumerable<Rule> Base =>
        [
            new("type", e => e.Type is { System: not null, Code: not null }),
            new("recorded", e => e.Recorded is not null),
            new("who reports it", e => e.Source?.Observer is not null),
            new("an agent", e => e.Agent.Count > 0),
            new("each agent asks or does not", e => e.Agent.All(agent => agent.Requestor is not null)),
            new("somebody asks", e => e.Agent.Count(agent => agent.Requestor == true) == 1),
            new("sev-1: a name or a query", e => e.Entity.All(entity => entity.Name is null || entity.Query is null)),
        ];

    private static readonly Dictionary<string, IReadOnlyList<Rule>> ByProfile = new()
    {
        ["Read"] = [.. Rest("R", "110152", "110153", "read", "vread"), .. Data],
        ["PatientRead"] = [.. Rest("R", "110152", "110153", "read", "vread"), .. Data, .. Patient],
        ["Query"] = [.. Rest("E", "110153", "110152", "search", "search-type", "search-system"), .. Query],
        ["PatientQuery"] = [.. Rest("E", "110153", "110152", "search", "search-type", "search-system"), .. Query, .. Patient],
        ["Create"] = [.. Rest("C", "110153", "110152", "create"), .. Data],
        ["PatientCreate"] = [.. Rest("C", "110153", "110152", "create"), .. Data, .. Patient],
        ["Update"] = [.. Rest("U", "110153", "110152", "update", "patch"), .. Data],
        ["PatientUpdate"] = [.. Rest("U", "110153", "110152", "update", "patch"), .. Data, .. Patient],
        ["PrivacyDisclosure.Source"] = [.. Disclosure, .. Patient],
        ["OAUTHaccessTokenUse.Minimal"] = [.. Token],
    };

    /// <summary>What an event breaks, as the profile and the rule; empty where it keeps all.</summary>
    public static IReadOnlyList<string> Faults(AuditEvent told) =>
        [
            .. Base.Where(rule => !rule.Holds(told)).Select(rule => $"base: {rule.Key}"),
            .. (told.Meta?.Profile ?? []).SelectMany(profile =>
            {
                var name = ByProfile.Keys.SingleOrDefault(known => Profiles.BasicAudit(known) == profile);
                return name is null
                    ? [$"{profile}: not a profile that is known here"]
                    : ByProfile[name].Where(rule => !rule.Holds(told)).Select(rule => $"{name}: {rule.Key}");
            }),
        ];

    private static bool Is(Coding? coding, Coding meant) =>
        coding is not null && coding.System == meant.System && coding.Code == meant.Code;

    private static AgentComponent? One(AuditEvent told, string role) =>
        told.Agent.Where(agent => agent.Type?.Coding is [{ System: Codes.Audit.Dicom } type] && type.Code == role).ToList() is [var one]
            ? one
            : null;

    private static IEnumerable<AgentComponent> Holders(AuditEvent told) =>
        told.Agent.Where(agent => agent.Type?.Coding is [var type] && Is(type, Codes.Audit.TokenHolder.Coding[0]));

    private static IEnumerable<EntityComponent> Entities(AuditEvent told, Coding type) =>
        told.Entity.Where(entity => Is(entity.Type, type));
}
