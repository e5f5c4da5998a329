using System.Collections.Frozen;
using Hl7.Fhir.Model;
using Irrigation.Balance;
using IrrigationFhir.Fhir;
using static Hl7.Fhir.Model.OperationOutcome;

namespace IrrigationFhir.Problems;

/// <summary>What can be wrong with a request, or doubtful about what it says: one line for each.</summary>
/// <param name="Code">Stable: a client may branch on it. It is <c>details.coding.code</c> of the issue.</param>
/// <param name="Type">The issue type, for clients that know no more than the standard.</param>
/// <param name="Text">What it means.</param>
internal sealed record ProblemCode(string Code, IssueType Type, string Text);

/// <summary>Every code under which a request is refused or warned of: the code system <c>problem</c>.</summary>
internal static class ProblemCodes
{
    /// <summary>All of them, those of what follows from a reading (<see cref="DoubtKind"/>) last.</summary>
    public static IReadOnlyList<ProblemCode> All { get; } =
    [
        // the request as a whole
        new("bad-request", IssueType.Structure, "The request cannot be read."),
        new("unknown-address", IssueType.NotFound, "Nothing is at this address."),
        new("host-not-allowed", IssueType.Forbidden, "The Host header names a host that this service does not answer for."),
        new("not-authenticated", IssueType.Login, "No valid access token came along."),
        new("token-expired", IssueType.Expired, "The access token was good, and is so no more."),
        new("not-allowed", IssueType.Forbidden, "The access token does not cover this."),
        new("open-service-published", IssueType.Forbidden, "An open service, of this machine alone, is asked from elsewhere."),
        new("method-not-allowed", IssueType.NotSupported, "The method is not served at this address."),
        new("not-acceptable", IssueType.NotSupported, "None of the accepted formats is written here."),
        new("unsupported-media-type", IssueType.NotSupported, "The body's media type, charset or encoding is not read here."),
        new("body-too-large", IssueType.TooLong, "The body is larger than the limit."),
        new("body-too-slow", IssueType.Timeout, "The body did not come in time."),
        new("malformed-gzip", IssueType.Structure, "The body is said to be gzip and is not."),
        new("malformed-brotli", IssueType.Structure, "The body is said to be Brotli and is not."),
        new("address-too-long", IssueType.TooLong, "The request line is longer than the limit."),
        new("headers-too-large", IssueType.TooLong, "The headers are larger, or more, than the limit."),
        new("too-many-requests", IssueType.Throttled, "More requests than are served at once, or to this client."),
        new("query-too-costly", IssueType.TooCostly, "The query would take too long."),
        new("audit-unavailable", IssueType.Transient, "What is read cannot be recorded just now, and so is not shown."),
        new("store-unavailable", IssueType.Transient, "The store cannot do it just now; nothing was kept."),
        new("internal-error", IssueType.Exception, "The service failed; nothing was half-written."),
        new("more-problems", IssueType.TooLong, "There are more problems than are shown."),
        // JSON
        new("malformed-json", IssueType.Structure, "The body is not well-formed JSON."),
        new("byte-order-mark", IssueType.Structure, "The body begins with a byte order mark."),
        new("half-character", IssueType.Structure, "A text holds one half of a surrogate pair."),
        new("null-character", IssueType.Value, "A text holds the character U+0000."),
        new("too-deep", IssueType.Structure, "The JSON is nested too deeply."),
        new("wrong-type", IssueType.Structure, "A value has another JSON type than is expected."),
        new("unknown-property", IssueType.Structure, "A property that is not read."),
        new("repeated-property", IssueType.Structure, "A property is named twice."),
        // values of an entry or an episode
        new("missing", IssueType.Required, "Something that has to be there is not."),
        new("missing-unit", IssueType.Required, "A quantity has no unit."),
        new("wrong-unit", IssueType.CodeInvalid, "A unit outside the closed list for its place."),
        new("unknown-kind", IssueType.CodeInvalid, "A kind of entry that does not exist."),
        new("unknown-word", IssueType.CodeInvalid, "A word outside a closed list."),
        new("negative", IssueType.Value, "A measured quantity is below 0."),
        new("out-of-range", IssueType.Value, "A number is outside its range."),
        new("bad-text", IssueType.Value, "A text is empty, too long, or holds a control character."),
        new("bad-time", IssueType.Value, "A time that is no instant."),
        new("end-before-start", IssueType.Value, "A period that does not run forwards."),
        new("time-in-future", IssueType.Value, "A time that is still to come."),
        new("one-or-other", IssueType.Value, "Two properties of which one alone is to say it."),
        // entries and their episode
        new("unknown-episode", IssueType.NotFound, "No episode has this id."),
        new("too-many-entries", IssueType.TooLong, "More entries than one request may hold."),
        new("same-id-twice", IssueType.Duplicate, "One id occurs twice in a request."),
        new("written-here", IssueType.Value, "An entry that only the service itself writes."),
        new("nothing-to-retract", IssueType.Value, "A withdrawal that names no entry and no time."),
        new("unknown-flag", IssueType.NotFound, "A flag that was never there is said to have been seen."),
        new("unknown-reading", IssueType.NotFound, "A confirmation of a reading that is not in the log."),
        new("before-episode-start", IssueType.BusinessRule, "Fluid from before the episode began."),
        new("after-episode-end", IssueType.BusinessRule, "Fluid from after the episode ended."),
        new("overlapping-bags", IssueType.BusinessRule, "A bag hung where one hangs."),
        new("overlapping-totals", IssueType.BusinessRule, "Two totals of one line for the same time."),
        new("drainage-while-clamped", IssueType.BusinessRule, "Drainage in the time of a clamp."),
        new("patient-mismatch", IssueType.BusinessRule, "Another patient, time zone or other shifts than the episode's."),
        // FHIR intake
        new("malformed-resource", IssueType.Value, "The body is no such resource of FHIR R4."),
        new("unknown-code", IssueType.CodeInvalid, "No coding of the Observation is mapped to a kind of entry."),
        new("ambiguous-code", IssueType.CodeInvalid, "Codings of the Observation are mapped to different kinds of entry."),
        new("other-period", IssueType.Value, "A code that stands for a length of time, over another."),
        new("not-kept", IssueType.NotSupported, "Taken, and not given back as it was sent."),
        new("no-result", IssueType.Value, "An Observation whose status carries no result."),
        new("no-value", IssueType.Value, "An Observation without a value."),
        new("not-a-value", IssueType.Value, "A value of another type than this kind of entry has."),
        new("not-a-measurement", IssueType.Value, "The device says that it did not measure."),
        new("not-understood", IssueType.NotSupported, "Something that is not understood here and must not be passed over."),
        new("no-episode", IssueType.BusinessRule, "No episode of the patient covers the time."),
        new("several-episodes", IssueType.BusinessRule, "Several episodes of the patient cover the time."),
        new("encounter-mismatch", IssueType.BusinessRule, "The episode belongs to another encounter."),
        new("not-yours", IssueType.BusinessRule, "A resource that the service works out, or that came by another door."),
        new("wrong-id", IssueType.Value, "The id of the resource is another than that of the address."),
        new("wrong-identifier", IssueType.Value, "The identifier is another than that of the stored Observation."),
        new("conflicting-content", IssueType.Conflict, "Other content under a known identifier, and no status that corrects."),
        new("known-elsewhere", IssueType.Conflict, "The identifier belongs to an entry of another episode."),
        new("version-conflict", IssueType.Conflict, "The stored version is another than the one to be replaced."),
        new("several-matches", IssueType.MultipleMatches, "The condition finds several resources."),
        new("repeated-full-url", IssueType.Value, "Two entries of a Bundle have one fullUrl."),
        new("unresolved-reference", IssueType.Value, "A reference within a Bundle that leads nowhere."),
        // reading and searching
        new("unknown-resource", IssueType.NotFound, "No resource has this id, or no such version is kept."),
        new("export-unknown", IssueType.NotFound, "No such export is kept: it was cancelled, has expired, or means nothing here."),
        new("export-synchronous", IssueType.NotSupported, "An export is asked for with Prefer: respond-async."),
        new("export-failed", IssueType.Exception, "The export could not be made; nothing of it can be fetched."),
        new("view-invalid", IssueType.Invalid, "A ViewDefinition that cannot be understood, or that the data does not suit."),
        new("unknown-patient", IssueType.NotFound, "Nothing here refers to that patient."),
        new("search-parameter-unknown", IssueType.NotSupported, "A parameter that is not understood."),
        new("search-modifier-unsupported", IssueType.NotSupported, "A modifier that the parameter does not have."),
        new("search-value-invalid", IssueType.Value, "A value that the parameter cannot have."),
        new("search-too-many-criteria", IssueType.NotSupported, "More criteria than one search may have."),
        new("page-unknown", IssueType.NotSupported, "A page that this service did not link to."),
        new("included-cut", IssueType.Incomplete, "More was included than one page may bring along."),
        new("form-unreadable", IssueType.Structure, "The form cannot be read."),
        new("parameters-unreadable", IssueType.Structure, "The body is no Parameters resource."),
        new("parameter-required", IssueType.Required, "A parameter that has to be there is not."),
        new("operation-parameter-invalid", IssueType.Value, "A value that the operation's parameter cannot have."),
        // subscriptions
        new("too-many-subscriptions", IssueType.BusinessRule, "More subscriptions than this service keeps."),
        new("subscription-topic-unknown", IssueType.NotSupported, "A topic that does not exist."),
        new("subscription-topic-changed", IssueType.Value, "The topic of a subscription stays."),
        new("subscription-filter-unsupported", IssueType.NotSupported, "A filter that the topic does not have."),
        new("subscription-channel-unsupported", IssueType.NotSupported, "A channel other than rest-hook."),
        new("subscription-payload-unsupported", IssueType.NotSupported, "A payload other than FHIR JSON."),
        new("subscription-content-unsupported", IssueType.NotSupported, "A content other than empty, id-only and full-resource."),
        new("subscription-cross-version-extension", IssueType.Extension, "An extension of another version of the guide."),
        new("subscription-extension-unknown", IssueType.Extension, "An extension that is not understood."),
        new("subscription-endpoint-refused", IssueType.Value, "An endpoint that must not be told."),
        new("subscription-header-refused", IssueType.Value, "A header line that cannot be sent."),
        new("subscription-end-out-of-range", IssueType.Value, "An end that lies in the past, or too far ahead."),
        new("subscription-status-refused", IssueType.BusinessRule, "A status that only the service gives."),
        new("subscription-ended", IssueType.BusinessRule, "The subscription has ended."),
        new("events-forgotten", IssueType.Deleted, "Events from before what is kept."),
        // rules of profiles that have no key of their own
        new("cardinality", IssueType.Value, "Too few or too many of an element."),
        new("binding", IssueType.Value, "A code outside a value set that is required."),
        new("pattern", IssueType.Value, "A value that the profile fixes is another one."),
        new("slicing", IssueType.Value, "A repeating element fits none of its slices, or a slice is missing."),
        new("type", IssueType.Value, "An element or resource of a type that does not belong there."),
        new("unknown-element", IssueType.Value, "An element that is not defined there."),
        new("unknown-extension", IssueType.Value, "An extension that is not known here."),
        new("unknown-profile", IssueType.Value, "A profile, or a version of one, that is not known here."),
        new("reference-target", IssueType.Value, "A reference to a type of resource that is not allowed there."),
        new("value", IssueType.Value, "The form of a value, its length, or the id of a contained resource."),
        .. Enum.GetValues<DoubtKind>()
            .Select(kind => new ProblemCode(
                Irrigation.Slug.Of(kind),
                IssueType.BusinessRule,
                "A reading that cannot be right as it stands."
            )),
    ];

    /// <summary>The id of the code system.</summary>
    public const string Slug = "problem";

    private static readonly FrozenDictionary<string, ProblemCode> ByCode = All.ToFrozenDictionary(problem => problem.Code);

    /// <summary>The keys of the invariants that a resource is held to, R4's own among them, with what they say.</summary>
    private static IEnumerable<CodeSystem.ConceptDefinitionComponent> Invariants(string canonicalBase) =>
        Definitions
            .Own(canonicalBase)
            .Concat(Definitions.OfR4())
            .OfType<StructureDefinition>()
            .SelectMany(structure => structure.Snapshot!.Element)
            .SelectMany(element => element.Constraint)
            .Where(constraint => constraint is { Severity: ConstraintSeverity.Error, Key: not null })
            .DistinctBy(constraint => constraint.Key)
            .OrderBy(constraint => constraint.Key, StringComparer.Ordinal)
            .Select(constraint => new CodeSystem.ConceptDefinitionComponent
            {
                Code = constraint.Key,
                Display = $"Rule {constraint.Key}",
                Definition = constraint.Human,
            });

    /// <summary>The issue type that goes with a code. Keys of profile rules are codes too: a value that breaks one.</summary>
    public static IssueType TypeOf(string code) => ByCode.TryGetValue(code, out var known) ? known.Type : IssueType.Value;

    /// <summary>Them as the code system that <c>details.coding</c> names.</summary>
    /// <param name="profiles">Its base.</param>
    public static CodeSystem ToCodeSystem(Profiles profiles)
    {
        CodeSystem.ConceptDefinitionComponent[] concepts =
        [
            .. All.Select(problem => new CodeSystem.ConceptDefinitionComponent
            {
                Code = problem.Code,
                Display = Words(problem.Code),
                Definition = problem.Text,
            }),
            .. Invariants(profiles.CanonicalBase),
        ];
        return new()
        {
            Id = Slug,
            Url = profiles.CodeSystem(Slug),
            Version = Profiles.Version,
            Name = "Problem",
            Title = "Problems",
            Status = PublicationStatus.Active,
            Experimental = false,
            Publisher = "IrrigationFhir",
            Description =
                "Why a request was refused, or what is doubtful about what it says. The codes are stable: software may rely on them.",
            CaseSensitive = true,
            Content = CodeSystemContentMode.Complete,
            Count = concepts.Length,
            Concept = [.. concepts],
        };
    }

    private static string Words(string code) => char.ToUpperInvariant(code[0]) + code[1..].Replace('-', ' ');
}
