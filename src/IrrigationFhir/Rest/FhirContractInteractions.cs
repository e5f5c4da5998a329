using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;
using IrrigationFhir.Fhir;
using Microsoft.OpenApi;
using static IrrigationFhir.Rest.FhirContractBodies;
using static IrrigationFhir.Rest.FhirContractParameters;
using static IrrigationFhir.Rest.FhirContractReplies;
using Interaction = Hl7.Fhir.Model.CapabilityStatement.TypeRestfulInteraction;

namespace IrrigationFhir.Rest;

/// <summary>The interactions of one resource type in the FHIR contract: read, history, search, create, update.</summary>
internal sealed class FhirContractInteractions(
    FhirContractSection section,
    CapabilityStatement.ResourceComponent resource,
    Profiles profiles
)
{
    private const string PageOfVersions = "A page of versions; `next` among its links leads on.";

    private static readonly string[] WriteRefusals = ["400", "404", "405", "406", "409", "412", "413", "415", "422", "429"];

    private readonly string _type = section.Tag;

    /// <summary>Adds what the statement claims of the type.</summary>
    public void Describe()
    {
        DefineSearchParameters();
        foreach (var interaction in resource.Interaction.Select(claimed => claimed.Code))
        {
            switch (interaction)
            {
                case Interaction.Read:
                    Read();
                    break;
                case Interaction.Vread:
                    ReadVersion();
                    break;
                case Interaction.HistoryInstance:
                    History();
                    break;
                case Interaction.HistoryType:
                    HistoryOfType();
                    break;
                case Interaction.SearchType:
                    Search();
                    break;
                case Interaction.Create when _type == "Subscription":
                    CreateSubscription();
                    break;
                case Interaction.Update when _type == "Subscription":
                    UpdateSubscription();
                    break;
                case Interaction.Create:
                    Create();
                    break;
                case Interaction.Update:
                    Update();
                    break;
            }
        }
    }

    private void DefineSearchParameters()
    {
        foreach (var searched in resource.SearchParam)
        {
            var says =
                $"{searched.Type.GetLiteral()}: {searched.Definition}. {searched.Documentation} Repeated means and, a comma or.".Replace(
                    "  ",
                    " ",
                    StringComparison.Ordinal
                );
            section.Define($"{_type}.{searched.Name}", Query(searched.Name!, Repeated(Text()), says));
        }

        foreach (var (name, references) in Inclusions)
        {
            const string says = "What comes along with what is found; with :iterate also with what came along.";
            section.Define($"{_type}.{name}", Query(name, Repeated(OneOf(references)), says));
        }
    }

    /// <summary><c>_include</c> and <c>_revinclude</c> with what each may name, where there is something to name.</summary>
    private IEnumerable<(string Name, List<string> References)> Inclusions =>
        new[]
        {
            (Name: "_include", References: resource.SearchInclude.OfType<string>().ToList()),
            (Name: "_revinclude", References: resource.SearchRevInclude.OfType<string>().ToList()),
        }.Where(inclusion => inclusion.References.Count > 0);

    private static IOpenApiParameter[] PartsOfResource =>
        [Query("_summary", OneOf("true", "text", "data", "false"), "A part of the resource."), Ref("_elements")];

    private void Read() =>
        section.Get(
            "/{id}",
            new()
            {
                OperationId = $"read{_type}",
                Summary = "The current version.",
                Parameters = [Ref("id"), .. PartsOfResource, Ref("_format")],
                Responses = Versioned(Replies(_type, "The resource.", "400", "404", "406")),
            }
        );

    private void ReadVersion() =>
        section.Get(
            "/{id}/_history/{version}",
            new()
            {
                OperationId = $"readVersionOf{_type}",
                Summary = "A version, also one that was corrected or withdrawn since.",
                Parameters = [Ref("id"), Ref("version"), .. PartsOfResource, Ref("_format")],
                Responses = Versioned(Replies(_type, "The resource as it was.", "400", "404", "406")),
            }
        );

    private void History() =>
        section.Get(
            "/{id}/_history",
            new()
            {
                OperationId = $"readHistoryOf{_type}",
                Summary = "All versions, the latest first.",
                Parameters = [Ref("id"), Ref("_count"), Ref("_since"), Ref("_format")],
                Responses = Replies("Bundle", PageOfVersions, "400", "404", "406"),
            }
        );

    private void HistoryOfType() =>
        section.Get(
            "/_history",
            new()
            {
                OperationId = $"readHistoryOfAll{_type}",
                Summary = "All versions of all resources of the type, the latest first.",
                Parameters = [Ref("_count"), Ref("_since"), Ref("_format")],
                Responses = Replies("Bundle", PageOfVersions, "400", "406"),
            }
        );

    private void Search()
    {
        section.Get(
            "",
            new()
            {
                OperationId = $"search{_type}",
                Summary = "Search.",
                Parameters =
                [
                    Ref("Prefer"),
                    .. resource.SearchParam.Select(searched => Ref($"{_type}.{searched.Name}")),
                    .. ResultParameters.Select(Ref),
                    .. Inclusions.Select(inclusion => Ref($"{_type}.{inclusion.Name}")),
                    Ref("_format"),
                ],
                Responses = Replies(
                    "Bundle",
                    "A page of what was found; `next` among its links leads on, `self` says what took effect.",
                    "400",
                    "406"
                ),
            }
        );
        section.Post(
            "/_search",
            new()
            {
                OperationId = $"search{_type}ByForm",
                Summary = "Search, with patients' identifiers in the body and not in the address.",
                Parameters = [Ref("Prefer"), Ref("_format")],
                RequestBody = SearchForm(section.Address),
                Responses = Replies("Bundle", "A page of what was found.", "400", "406", "413", "415"),
            }
        );
    }

    private void CreateSubscription() =>
        section.Post(
            "",
            new()
            {
                OperationId = $"create{_type}",
                Summary = "Ask to be told of a topic.",
                Parameters = [Ref("Prefer"), Ref("_format")],
                RequestBody = Resource(_type, "Of status requested, under the profile backport-subscription."),
                Responses = Versioned(
                    Replies(
                        [("201", Reply(_type, "Requested: active once its endpoint has answered a handshake."))],
                        ["400", "406", "413", "415", "422"]
                    )
                ),
            }
        );

    private void UpdateSubscription() =>
        section.Put(
            "/{id}",
            new()
            {
                OperationId = $"update{_type}",
                Summary = "Change one, start it anew (status requested), or end it (status off).",
                Parameters = [Ref("id"), Ref("Prefer"), Ref("If-Match"), Ref("_format")],
                RequestBody = Resource(
                    _type,
                    "The whole resource, with the id of the address. " + "A header line whose value is (withheld) keeps the stored value."
                ),
                Responses = Versioned(Replies(_type, "The new version.", "400", "404", "406", "412", "413", "415", "422")),
            }
        );

    private void Create() =>
        section.Post(
            "",
            new()
            {
                OperationId = $"create{_type}",
                Summary = "Record a measurement. The same identifier with the same content changes nothing.",
                Parameters = [Ref("Prefer"), Ref("If-None-Exist"), Ref("_format")],
                RequestBody = Resource(
                    _type,
                    "The measurement; its identifier, status, code, subject and effective[x] are required.",
                    Measurement("1", profiles)
                ),
                Responses = Versioned(
                    Replies(
                        [
                            (
                                "200",
                                Reply(
                                    _type,
                                    "It was there: the same content under the same identifier, a correction of it, "
                                        + "or what If-None-Exist found."
                                )
                            ),
                            (
                                "201",
                                Reply(
                                    _type,
                                    "Recorded. The resource is as it is stored: under the service's id, "
                                        + "with our codes beside the sender's."
                                )
                            ),
                        ],
                        WriteRefusals
                    )
                ),
            }
        );

    private void Update() =>
        section.Put(
            "/{id}",
            new()
            {
                OperationId = $"update{_type}",
                Summary = "Correct or withdraw what came by create.",
                Parameters = [Ref("id"), Ref("Prefer"), Ref("If-Match"), Ref("_format")],
                RequestBody = Resource(
                    _type,
                    "The whole resource, with the id of the address and a status that says that it corrects: "
                        + "amended, corrected or entered-in-error."
                ),
                Responses = Versioned(Replies(_type, "The new version; the same content again changes nothing.", WriteRefusals)),
            }
        );
}
