using System.Globalization;
using System.Text;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using static Hl7.Fhir.Model.AuditEvent;

namespace IrrigationFhir.Audit;

/// <summary>AuditEvents by the patterns of IHE BALP 1.1 (https://profiles.ihe.net/ITI/BALP), made of entries when they are read.</summary>
/// <remarks>
/// What BALP has no profile for (refusals, starts) keeps to base R4. <see cref="AuditRules"/> restates what each profile asks for.
/// </remarks>
internal static class AuditEventMapper
{
    /// <summary>What the service is called as an agent and as the one who reports.</summary>
    public const string Server = "irrigationfhir";

    /// <summary>The AuditEvent.</summary>
    public static AuditEvent ToEvent(AuditRow row)
    {
        var entry = row.Entry;
        return new()
        {
            Id = row.Number.ToString(CultureInfo.InvariantCulture),
            Meta = ProfilesOf(entry) is { Count: > 0 } profiles ? new() { Profile = profiles } : null,
            Type = TypeOf(entry.Deed),
            Subtype = [.. SubtypesOf(entry)],
            Action = ActionOf(entry.Deed),
            Recorded = UnixNanoseconds.ToInstant(entry.At).ToDateTimeOffset(),
            Outcome = OutcomeOf(entry.Outcome),
            OutcomeDesc = Describe(entry),
            Agent = [.. AgentsOf(entry)],
            Source = new()
            {
                Site = entry.Patient is { Key: var key } && PatientNumber.FacilityIn(key) is { Length: > 0 } facility ? facility : null,
                Observer = Itself,
                Type = [Codes.Audit.Server],
            },
            Entity = [.. EntitiesOf(entry)],
        };
    }

    /// <summary>The profile of BALP that an entry's event keeps to, without its beginning; null where there is none.</summary>
    public static string? PatternOf(AuditEntry entry)
    {
        var of = entry.Patient is null ? "" : "Patient";
        return entry.Outcome != DeedOutcome.Success
            ? null // failures are recorded otherwise, say the patterns
            : entry.Deed switch
            {
                Deed.Read when entry.Resources is not null => of + "Read",
                Deed.Query => of + "Query",
                Deed.Create => of + "Create",
                Deed.Update => of + "Update",
                Deed.Disclose when entry.Patient is not null => "PrivacyDisclosure.Source",
                _ => null,
            };
    }

    private static List<string?> ProfilesOf(AuditEntry entry)
    {
        var profiles = new List<string?>();
        if (PatternOf(entry) is { } pattern)
            profiles.Add(Profiles.BasicAudit(pattern));
        if (entry.Token is not null)
            profiles.Add(Profiles.BasicAudit("OAUTHaccessTokenUse.Minimal"));
        return profiles;
    }

    /// <summary>The type of an event, by its deed alone.</summary>
    public static Coding TypeOf(Deed deed) =>
        deed switch
        {
            Deed.Disclose => Codes.Audit.Export,
            Deed.Refuse or Deed.Roles or Deed.Alert => Codes.Audit.SecurityAlert,
            Deed.Run => Codes.Audit.ApplicationActivity,
            _ => Codes.Audit.Rest,
        };

    /// <summary>The subtypes of an event.</summary>
    public static IEnumerable<Coding> SubtypesOf(AuditEntry entry) =>
        (entry.Deed, entry.How) switch
        {
            // The patterns know a history as a read, and an operation as a search: what it was stands beside.
            (Deed.Read, "history-instance") => [Codes.Audit.Interaction("read"), Codes.Audit.Interaction("history-instance")],
            (Deed.Query, "operation" or "history-type") => [Codes.Audit.Interaction("search-type"), Codes.Audit.Interaction(entry.How)],
            (Deed.Disclose, _) => [Codes.Audit.Disclosure],
            (Deed.Roles, _) => [Codes.Audit.RolesChanged],
            (Deed.Run, _) => [entry.Code == "stopped" ? Codes.Audit.ApplicationStop : Codes.Audit.ApplicationStart],
            (_, { } how) => [Codes.Audit.Interaction(how)],
            _ => [],
        };

    /// <summary>The action of an event, by its deed alone.</summary>
    public static AuditEventAction ActionOf(Deed deed) =>
        deed switch
        {
            Deed.Read or Deed.Disclose => AuditEventAction.R,
            Deed.Create => AuditEventAction.C,
            Deed.Update or Deed.Roles => AuditEventAction.U,
            _ => AuditEventAction.E,
        };

    private static AuditEventOutcome OutcomeOf(DeedOutcome outcome) =>
        outcome switch
        {
            DeedOutcome.Success => AuditEventOutcome.N0,
            DeedOutcome.Minor => AuditEventOutcome.N4,
            DeedOutcome.Serious => AuditEventOutcome.N8,
        };

    private static string? Describe(AuditEntry entry) =>
        entry.Deed == Deed.Alert ? string.Create(CultureInfo.InvariantCulture, $"{entry.Code}, more than {entry.Times} within an hour")
        : entry.Times > 0 ? string.Create(CultureInfo.InvariantCulture, $"{entry.Code}, {entry.Times} times within a minute")
        : entry.Code;

    private static ResourceReference Itself => Named(Server);

    private static ResourceReference Named(string name) => new() { Identifier = new() { Value = name } };

    private static IEnumerable<AgentComponent> AgentsOf(AuditEntry entry)
    {
        // Data that are read flow from the server; a question and what is written flow to it.
        var fromServer = entry.Deed is Deed.Read or Deed.Disclose;
        var byToken = entry.Token is not null;
        yield return new()
        {
            Type =
                entry.Deed is Deed.Refuse or Deed.Run or Deed.Roles or Deed.Alert ? Codes.Audit.Application
                : fromServer ? Codes.Audit.Destination
                : Codes.Audit.Source,
            Who = Named(entry.Client),
            Requestor = !byToken,
            Network = NetworkOf(entry.From),
        };
        if (entry.Deed != Deed.Run)
        {
            yield return new()
            {
                Type = fromServer ? Codes.Audit.Source : Codes.Audit.Destination,
                Who = Itself,
                Requestor = false,
                Network = NetworkOf(entry.To),
            };
        }

        if (byToken)
        {
            yield return new()
            {
                Type = Codes.Audit.TokenHolder,
                Requestor = true,
                Policy = [Codes.Audit.TokenPolicy + entry.Token],
            };
        }
    }

    private static NetworkComponent NetworkOf(string? address) =>
        address is null ? new() { Address = "localhost", Type = AuditEventAgentNetworkType.N1 }
        : System.Net.IPAddress.TryParse(address, out _) ? new() { Address = address, Type = AuditEventAgentNetworkType.N2 }
        : address.Contains("://", StringComparison.Ordinal) ? new() { Address = address, Type = AuditEventAgentNetworkType.N5 }
        : new() { Address = address, Type = AuditEventAgentNetworkType.N1 };

    private static IEnumerable<EntityComponent> EntitiesOf(AuditEntry entry)
    {
        if (entry.Patient is { } patient)
        {
            yield return new()
            {
                What = ReferenceTo(patient),
                Type = Codes.Audit.Person,
                Role = Codes.Audit.AsPatient,
            };
        }

        foreach (var (resource, index) in (entry.Resources ?? []).Select((resource, index) => (resource, index)))
            yield return Data(entry, resource, isFirst: index == 0);

        // A query has neither what nor detail; its text may hold whatever was sent.
        if (entry.Query is { } query && entry.Resources is null)
        {
            yield return new()
            {
                Type = Codes.Audit.SystemObject,
                Role = Codes.Audit.AsQuery,
                Query = Encoding.UTF8.GetBytes(query),
            };
        }

        if (entry.Deed == Deed.Roles)
        {
            foreach (var about in entry.Entries ?? [])
                yield return new() { Type = Codes.Audit.SystemObject, Name = about };
        }

        if (entry.Request is { } request)
            yield return new() { Type = Codes.Audit.Transaction, What = Named(request) };
    }

    private static EntityComponent Data(AuditEntry entry, string address, bool isFirst)
    {
        var type = address.Split('/')[0];
        return new()
        {
            What = type.Length > 0 && char.IsUpper(type[0]) ? new(address) : Named(address),
            // The patterns have one system object; what was written with it is told apart by its type.
            Type = isFirst ? Codes.Audit.SystemObject : Codes.Audit.OfType(type),
            Role =
                entry.Deed == Deed.Disclose && type == "exports" ? Codes.Audit.AsJob
                : entry.Deed == Deed.Read && entry.Query is not null ? Codes.Audit.AsReport
                : Codes.Audit.AsResource,
            Description = isFirst && entry.Deed is Deed.Read or Deed.Disclose ? entry.Query : null,
            Detail = isFirst
                ? [.. (entry.Entries ?? []).Select(said => new DetailComponent { Type = "entry", Value = new FhirString(said) })]
                : [],
        };
    }

    private static ResourceReference ReferenceTo(AuditedPatient patient) =>
        new()
        {
            Reference = patient.Reference,
            Type = "Patient",
            Identifier = patient.Value is null
                ? null
                : new() { System = patient.System is { Length: > 0 } system ? system : null, Value = patient.Value },
        };
}
