using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;
using IrrigationFhir.Fhir;
using IrrigationFhir.Search;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>The OpenAPI contract of the FHIR API: what the CapabilityStatement claims, for tools that do not read one.</summary>
/// <remarks>
/// Interactions, operations and search parameters come from the statement, and so from the tables that route and search; here is
/// said how FHIR R4 has them over HTTP. It says no more of a resource than its type: profiles say that.
/// </remarks>
internal sealed class FhirContract(CapabilityStatement statement)
{
    private const string Form = "application/x-www-form-urlencoded";

    private static readonly (string Status, string Says)[] Refusals =
    [
        ("400", "The request cannot be read: malformed JSON, an unknown shape, a search value that means nothing. Nothing was changed."),
        ("404", "There is no such resource, or no such address."),
        (
            "405",
            "Not with this method, or not this resource: what the service works out is not written from outside, and nothing is deleted. Nothing was changed."
        ),
        ("406", "No format that this service writes: it writes JSON of FHIR R4."),
        (
            "409",
            "It contradicts what is recorded: other content under the same identifier whose status does not say that it corrects. Nothing was changed."
        ),
        ("410", "An event that is no longer kept was asked for."),
        ("412", "A condition is not met: If-Match names no current version, or If-None-Exist finds several. Nothing was changed."),
        ("413", "The body is larger, or holds more entries, than is taken in one request. Nothing was changed."),
        ("415", "A media type or an encoding that this address does not read. Nothing was changed."),
        (
            "422",
            "Readable, and refused: every problem is named, each with a stable code in `details.coding`, its place in `expression`, and what was seen and what is expected in `diagnostics`. Nothing was changed."
        ),
        ("429", "More writing requests than are served at once; `Retry-After` says when to try again. Nothing was changed."),
        ("500", "The service failed; its log holds the id that the answer names. Nothing was half-written."),
    ];

    private static readonly (string Name, string Schema, string Says)[] OfResults =
    [
        ("_count", """{"type": "integer", "minimum": 0}""", "Resources per page; 0 asks for the total alone."),
        (
            "_sort",
            """{"type": "string"}""",
            "Names of search parameters with commas between them, each perhaps with a minus for the reverse order."
        ),
        (
            "_total",
            """{"type": "string", "enum": ["none", "estimate", "accurate"]}""",
            "Whether the Bundle says how many there are in all."
        ),
        ("_summary", """{"type": "string", "enum": ["true", "text", "data", "count", "false"]}""", "A part of each resource."),
        ("_elements", """{"type": "string"}""", "Names of the elements to send, with commas between them; what is mandatory stays."),
    ];

    private readonly JsonObject _paths = [];
    private readonly JsonObject _parameters = [];

    /// <summary>The document for what a statement claims.</summary>
    public static JsonObject Of(CapabilityStatement statement) => new FhirContract(statement).Document();

    private JsonObject Document()
    {
        foreach (var (name, schema, says) in OfResults)
            _parameters[name] = Query(name, schema, says);
        _parameters["_since"] = Query("_since", """{"type": "string"}""", "Only what was stored at or after this instant.");
        _parameters["_format"] = Query(
            "_format",
            """{"type": "string", "enum": ["json", "application/json", "application/fhir+json"]}""",
            "The format, in place of Accept."
        );
        _parameters["id"] = InPath("id", "The resource's id.");
        _parameters["version"] = InPath("version", "The version's number: meta.versionId.");
        _parameters["Prefer"] = Header(
            "Prefer",
            "`return=minimal`, `representation` (the default) or `OperationOutcome`; `handling=strict` refuses unknown search parameters, `handling=lenient` reports Observations of unknown code in a transaction and records the others."
        );
        _parameters["If-Match"] = Header(
            "If-Match",
            "The version that is changed, as `ETag` gave it: `W/\"3\"`. With another current version the answer is 412."
        );
        _parameters["If-None-Exist"] = Header(
            "If-None-Exist",
            "A search, such as `identifier=system|value`: created only if it finds nothing; if it finds one, that one is the answer."
        );

        Put(
            "/fhir/metadata",
            "get",
            "readCapabilityStatement",
            "System",
            "What this service can do.",
            Replies("CapabilityStatement", "The statement.", "406"),
            [Ref("_format")]
        );
        var package = Replies("CapabilityStatement", "The package.", "406");
        package["200"]!["content"] = new JsonObject
        {
            ["application/gzip"] = new JsonObject
            {
                ["schema"] = new JsonObject { ["type"] = "string", ["format"] = "binary" },
            },
        };
        Put(
            "/fhir/package.tgz",
            "get",
            "readPackage",
            "System",
            "Profiles, terminology, search parameters and examples as one FHIR NPM package.",
            package,
            []
        );
        var rest = statement.Rest[0];
        if (rest.Interaction.Count > 0)
        {
            Put(
                "/fhir",
                "post",
                "recordBundle",
                "System",
                "A batch, whose entries stand or fall alone, or a transaction, which is of one episode and stands or falls as a whole.",
                Replies(
                    "Bundle",
                    "A Bundle that says of each entry what became of it; in a batch also of those that were refused.",
                    "400",
                    "404",
                    "405",
                    "406",
                    "409",
                    "412",
                    "413",
                    "415",
                    "422",
                    "429"
                ),
                [Ref("Prefer"), Ref("_format")],
                Body("Bundle", "Of type batch or transaction, with POST Observation, PUT Observation/[id] and GET.", Transaction())
            );
        }

        foreach (var resource in rest.Resource)
            Resource(resource);

        return new()
        {
            ["openapi"] = "3.1.1",
            ["info"] = new JsonObject
            {
                ["title"] = "IrrigationFhir: FHIR R4",
                ["version"] = "1",
                ["description"] =
                    $"The FHIR API of IrrigationFhir, drawn from its CapabilityStatement at /fhir/metadata. Every error is an OperationOutcome, and a refused request changes nothing. {Texts.Caution}\n\n{rest.Documentation}",
            },
            ["servers"] = Contract.ThisHost(),
            ["security"] = new JsonArray(new JsonObject()),
            ["tags"] = new JsonArray([
                Tag("System", "The service as a whole."),
                .. rest.Resource.Select(resource => Tag(TypeOf(resource), About(resource))),
            ]),
            ["paths"] = _paths,
            ["components"] = new JsonObject
            {
                ["parameters"] = _parameters,
                ["responses"] = Responses(),
                ["schemas"] = Schemas(rest.Resource.Select(TypeOf)),
            },
        };
    }

    private void Resource(CapabilityStatement.ResourceComponent resource)
    {
        var type = TypeOf(resource);
        var at = $"/fhir/{type}";
        foreach (var searched in resource.SearchParam)
        {
            _parameters[$"{type}.{searched.Name}"] = Query(
                searched.Name!,
                """{"type": "array", "items": {"type": "string"}}""",
                $"{searched.Type.GetLiteral()}: {searched.Definition}. {searched.Documentation} Repeated means and, a comma or.".Replace(
                    "  ",
                    " ",
                    StringComparison.Ordinal
                )
            );
        }

        foreach (var (name, addresses) in new[] { ("_include", resource.SearchInclude), ("_revinclude", resource.SearchRevInclude) })
        {
            if (addresses.Any())
                _parameters[$"{type}.{name}"] = Query(
                    name,
                    $$$"""{"type": "array", "items": {"type": "string", "enum": [{{{string.Join(", ", addresses.Select(address => $"\"{address}\""))}}}]}}""",
                    "What comes along with what is found; with :iterate also with what came along."
                );
        }

        JsonNode[] search =
        [
            .. resource.SearchParam.Select(searched => Ref($"{type}.{searched.Name}")),
            .. OfResults.Select(result => Ref(result.Name)),
            .. new[] { "_include", "_revinclude" }
                .Where(name => _parameters.ContainsKey($"{type}.{name}"))
                .Select(name => Ref($"{type}.{name}")),
            Ref("_format"),
        ];
        JsonNode[] parts =
        [
            Query("_summary", """{"type": "string", "enum": ["true", "text", "data", "false"]}""", "A part of the resource."),
            Ref("_elements"),
        ];
        JsonNode[] history = [Ref("_count"), Ref("_since"), Ref("_format")];
        foreach (var interaction in resource.Interaction.Select(i => i.Code))
        {
            switch (interaction)
            {
                case CapabilityStatement.TypeRestfulInteraction.Read:
                    Put(
                        $"{at}/{{id}}",
                        "get",
                        $"read{type}",
                        type,
                        "The current version.",
                        Replies(type, "The resource.", "400", "404", "406"),
                        [Ref("id"), .. parts, Ref("_format")],
                        versioned: true
                    );
                    break;
                case CapabilityStatement.TypeRestfulInteraction.Vread:
                    Put(
                        $"{at}/{{id}}/_history/{{version}}",
                        "get",
                        $"readVersionOf{type}",
                        type,
                        "A version, also one that was corrected or withdrawn since.",
                        Replies(type, "The resource as it was.", "400", "404", "406"),
                        [Ref("id"), Ref("version"), .. parts, Ref("_format")],
                        versioned: true
                    );
                    break;
                case CapabilityStatement.TypeRestfulInteraction.HistoryInstance:
                    Put(
                        $"{at}/{{id}}/_history",
                        "get",
                        $"readHistoryOf{type}",
                        type,
                        "All versions, the latest first.",
                        Replies("Bundle", "A page of versions; `next` among its links leads on.", "400", "404", "406"),
                        [Ref("id"), .. history]
                    );
                    break;
                case CapabilityStatement.TypeRestfulInteraction.HistoryType:
                    Put(
                        $"{at}/_history",
                        "get",
                        $"readHistoryOfAll{type}",
                        type,
                        "All versions of all resources of the type, the latest first.",
                        Replies("Bundle", "A page of versions; `next` among its links leads on.", "400", "406"),
                        history
                    );
                    break;
                case CapabilityStatement.TypeRestfulInteraction.SearchType:
                    var found = Replies(
                        "Bundle",
                        "A page of what was found; `next` among its links leads on, `self` says what took effect.",
                        "400",
                        "406"
                    );
                    Put(at, "get", $"search{type}", type, "Search.", found, [.. search.Prepend(Ref("Prefer"))]);
                    Put(
                        $"{at}/_search",
                        "post",
                        $"search{type}ByForm",
                        type,
                        "Search, with patients' identifiers in the body and not in the address.",
                        Replies("Bundle", "A page of what was found.", "400", "406", "413", "415"),
                        [Ref("Prefer"), Ref("_format")],
                        new JsonObject
                        {
                            ["required"] = true,
                            ["content"] = new JsonObject
                            {
                                [Form] = new JsonObject
                                {
                                    ["schema"] = new JsonObject
                                    {
                                        ["type"] = "object",
                                        ["description"] = $"The parameters of GET {at}.",
                                        ["additionalProperties"] = new JsonObject { ["type"] = "string" },
                                    },
                                },
                            },
                        }
                    );
                    break;
                case CapabilityStatement.TypeRestfulInteraction.Create when type == "Subscription":
                    var subscribed = Replies(type, "", "400", "406", "413", "415", "422");
                    subscribed.Insert(0, "201", Reply(type, "Requested: active once its endpoint has answered a handshake."));
                    subscribed.Remove("200");
                    Put(
                        at,
                        "post",
                        $"create{type}",
                        type,
                        "Ask to be told of a topic.",
                        subscribed,
                        [Ref("Prefer"), Ref("_format")],
                        Body(type, "Of status requested, under the profile backport-subscription.", null),
                        versioned: true
                    );
                    break;
                case CapabilityStatement.TypeRestfulInteraction.Update when type == "Subscription":
                    Put(
                        $"{at}/{{id}}",
                        "put",
                        $"update{type}",
                        type,
                        "Change one, start it anew (status requested), or end it (status off).",
                        Replies(type, "The new version.", "400", "404", "406", "412", "413", "415", "422"),
                        [Ref("id"), Ref("Prefer"), Ref("If-Match"), Ref("_format")],
                        Body(
                            type,
                            "The whole resource, with the id of the address. A header line whose value is (withheld) keeps the stored value.",
                            null
                        ),
                        versioned: true
                    );
                    break;
                case CapabilityStatement.TypeRestfulInteraction.Create:
                    Put(
                        at,
                        "post",
                        $"create{type}",
                        type,
                        "Record a measurement. The same identifier with the same content changes nothing.",
                        Created(type),
                        [Ref("Prefer"), Ref("If-None-Exist"), Ref("_format")],
                        Body(type, "The measurement; its identifier, status, code, subject and effective[x] are required.", Measured("1")),
                        versioned: true
                    );
                    break;
                case CapabilityStatement.TypeRestfulInteraction.Update:
                    Put(
                        $"{at}/{{id}}",
                        "put",
                        $"update{type}",
                        type,
                        "Correct or withdraw what came by create.",
                        Replies(
                            type,
                            "The new version; the same content again changes nothing.",
                            "400",
                            "404",
                            "405",
                            "406",
                            "409",
                            "412",
                            "413",
                            "415",
                            "422",
                            "429"
                        ),
                        [Ref("id"), Ref("Prefer"), Ref("If-Match"), Ref("_format")],
                        Body(
                            type,
                            "The whole resource, with the id of the address and a status that says that it corrects: amended, corrected or entered-in-error.",
                            null
                        ),
                        versioned: true
                    );
                    break;
            }
        }

        foreach (var operation in resource.Operation)
            Operation(type, operation, search);
    }

    private void Operation(string type, CapabilityStatement.OperationComponent operation, JsonNode[] search)
    {
        var at = $"/fhir/{type}";
        var says = operation.Documentation ?? "";
        switch (operation.Name)
        {
            case "validate":
                JsonNode[] about =
                [
                    Query("profile", """{"type": "string"}""", "A profile of this service, or of R4; nothing is looked up elsewhere."),
                    Query("mode", """{"type": "string", "enum": ["create", "update", "delete"]}""", "What would be done with it."),
                    Ref("_format"),
                ];
                var judged = Replies("OperationOutcome", "The judgement, also where it finds errors.", "400", "404", "406", "413", "415");
                Put(
                    $"{at}/$validate",
                    "post",
                    $"validate{type}",
                    type,
                    "Says what would be refused, and keeps nothing.",
                    judged,
                    about,
                    Body("Parameters", $"The {type}, or Parameters with resource, profile and mode.", null, type),
                    says
                );
                Put(
                    $"{at}/{{id}}/$validate",
                    "post",
                    $"validateStored{type}",
                    type,
                    "Says it of what is stored, or of what is sent in its place.",
                    judged,
                    [Ref("id"), .. about],
                    Body("Parameters", "Nothing, where what is stored is meant.", null, type, required: false),
                    says
                );
                break;
            case "lastn":
                JsonNode[] latest =
                [
                    Query("max", """{"type": "integer", "minimum": 1}""", "How many for each code; 1 unless given."),
                    .. search.Where(p =>
                        !OfResults.Any(r => Ref(r.Name).ToJsonString() == p.ToJsonString())
                        && !p.ToJsonString().Contains("include", StringComparison.Ordinal)
                    ),
                ];
                Asked(
                    $"{at}/$lastn",
                    $"latest{type}s",
                    type,
                    "The latest for each code.",
                    says,
                    "What was found, the latest first within each code.",
                    latest,
                    "400",
                    "406"
                );
                break;
            case "everything":
                JsonNode[] narrowed =
                [
                    Query("start", """{"type": "string"}""", "Only what happened at or after this, and what has no date."),
                    Query("end", """{"type": "string"}""", "Only what happened at or before this, and what has no date."),
                    Ref("_since"),
                    Query("_type", """{"type": "string"}""", "The types wanted, with commas between them."),
                    Ref("_count"),
                    Ref("_format"),
                ];
                Asked(
                    $"{at}/$everything",
                    "readEverything",
                    type,
                    "Everything of the patient of an identifier.",
                    says,
                    "A page; `next` among its links leads on.",
                    [Query("identifier", """{"type": "string"}""", "`system|value` of the patient."), .. narrowed],
                    "400",
                    "404",
                    "406"
                );
                Asked(
                    $"{at}/{{id}}/$everything",
                    "readEverythingOf",
                    type,
                    "Everything that refers to Patient/[id].",
                    says,
                    "A page; `next` among its links leads on.",
                    [Ref("id"), .. narrowed],
                    "400",
                    "404",
                    "406"
                );
                break;
            case "status":
                Asked(
                    $"{at}/{{id}}/$status",
                    $"statusOf{type}",
                    type,
                    "How one stands.",
                    says,
                    "A searchset with its status, as Parameters.",
                    [Ref("id"), Ref("_format")],
                    "400",
                    "404",
                    "406"
                );
                JsonNode[] chosen =
                [
                    Query("id", """{"type": "string"}""", "Ids, with commas between them."),
                    Query("status", """{"type": "string"}""", "Of requested, active, error, off, with commas between them."),
                    Ref("_format"),
                ];
                Asked(
                    $"{at}/$status",
                    $"statusOf{type}s",
                    type,
                    "How all stand.",
                    says,
                    "A searchset with the status of each, as Parameters.",
                    chosen,
                    "400",
                    "406"
                );
                break;
            case "events":
                JsonNode[] range =
                [
                    Query("eventsSinceNumber", """{"type": "string", "pattern": "^[0-9]+$"}""", "The number of the first event."),
                    Query("eventsUntilNumber", """{"type": "string", "pattern": "^[0-9]+$"}""", "The number of the last event."),
                    Query(
                        "content",
                        """{"type": "string", "enum": ["empty", "id-only", "full-resource"]}""",
                        "How much of the resources; as subscribed unless given."
                    ),
                ];
                Asked(
                    $"{at}/{{id}}/$events",
                    $"eventsOf{type}",
                    type,
                    "What happened, also what was not delivered.",
                    says,
                    "A history as a notification has it, of type query-event.",
                    [Ref("id"), .. range, Ref("_format")],
                    "400",
                    "404",
                    "406",
                    "410"
                );
                break;
            default:
                throw new InvalidOperationException($"the operation {operation.Name} has no place in the contract yet");
        }
    }

    /// <summary>An operation that changes nothing: asked by GET, or by POST with the same parameters in the body.</summary>
    private void Asked(
        string path,
        string id,
        string tag,
        string summary,
        string says,
        string reply,
        JsonNode[] parameters,
        params string[] refusals
    )
    {
        Put(path, "get", id, tag, summary, Replies("Bundle", reply, refusals), parameters, says: says);
        Put(
            path,
            "post",
            id + "ByBody",
            tag,
            summary,
            Replies("Bundle", reply, [.. refusals, "413", "415"]),
            [
                .. parameters.Where(p =>
                    p.ToJsonString() is var text && (text == Ref("id").ToJsonString() || text == Ref("_format").ToJsonString())
                ),
            ],
            new JsonObject
            {
                ["required"] = true,
                ["content"] = new JsonObject
                {
                    [FhirReply.MediaType] = new JsonObject { ["schema"] = Schema("Parameters") },
                    [Form] = new JsonObject
                    {
                        ["schema"] = new JsonObject
                        {
                            ["type"] = "object",
                            ["additionalProperties"] = new JsonObject { ["type"] = "string" },
                        },
                    },
                },
            },
            says
        );
    }

    private void Put(
        string path,
        string method,
        string id,
        string tag,
        string summary,
        JsonObject responses,
        IEnumerable<JsonNode> parameters,
        JsonObject? body = null,
        string? says = null,
        bool versioned = false
    )
    {
        if (versioned)
        {
            foreach (var (_, reply) in responses.Where(reply => reply.Key[0] == '2'))
            {
                reply!["headers"] = new JsonObject
                {
                    ["ETag"] = Told("The version: `W/\"3\"`."),
                    ["Last-Modified"] = Told("When it was stored."),
                };
            }
        }

        var operation = new JsonObject
        {
            ["operationId"] = id,
            ["tags"] = new JsonArray(tag),
            ["summary"] = summary,
        };
        if (!string.IsNullOrEmpty(says))
            operation["description"] = says;
        operation["parameters"] = new JsonArray([.. parameters.Select(p => p.DeepClone())]);
        if (body is not null)
            operation["requestBody"] = body.DeepClone();
        operation["responses"] = responses.DeepClone();
        if (_paths[path] is not JsonObject there)
            _paths[path] = there = [];
        there[method] = operation;
    }

    private static JsonObject Created(string type)
    {
        var replies = Replies(
            type,
            "It was there: the same content under the same identifier, a correction of it, or what If-None-Exist found.",
            "400",
            "404",
            "405",
            "406",
            "409",
            "412",
            "413",
            "415",
            "422",
            "429"
        );
        var created = Reply(type, "Recorded. The resource is as it is stored: under the service's id, with our codes beside the sender's.");
        replies.Insert(1, "201", created);
        return replies;
    }

    private static JsonObject Replies(string type, string says, params IEnumerable<string> refusals)
    {
        var replies = new JsonObject { ["200"] = Reply(type, says) };
        foreach (var status in refusals.Append("500"))
            replies[status] = new JsonObject { ["$ref"] = $"#/components/responses/{status}" };
        return replies;
    }

    private static JsonObject Reply(string type, string says) =>
        new()
        {
            ["description"] = says,
            ["content"] = new JsonObject { [FhirReply.MediaType] = new JsonObject { ["schema"] = Schema(type) } },
        };

    private static JsonObject Body(string type, string says, JsonNode? example, string? or = null, bool required = true)
    {
        var schema = or is null ? Schema(type) : new JsonObject { ["oneOf"] = new JsonArray(Schema(or), Schema(type)) };
        var content = new JsonObject { ["schema"] = schema };
        if (example is not null)
            content["example"] = example;
        return new()
        {
            ["description"] = $"{says} `Content-Encoding: gzip` is read too.",
            ["required"] = required,
            ["content"] = new JsonObject { [FhirReply.MediaType] = content },
        };
    }

    private static JsonObject Responses() =>
        new(
            Refusals.Select(refusal =>
            {
                var reply = Reply("OperationOutcome", refusal.Says);
                if (refusal.Status == "429")
                    reply["headers"] = new JsonObject { ["Retry-After"] = Told("Seconds.") };
                return KeyValuePair.Create(refusal.Status, (JsonNode?)reply);
            })
        );

    private static JsonObject Schemas(IEnumerable<string> types)
    {
        var schemas = new JsonObject();
        foreach (
            var type in types
                .Where(type => IndexedTypes.Find(type) is not null)
                .Concat(["Basic", "Bundle", "CapabilityStatement", "Parameters"])
        )
        {
            schemas[type] = new JsonObject
            {
                ["type"] = "object",
                ["description"] = $"A {type} of FHIR R4 (4.0.1).",
                ["externalDocs"] = new JsonObject { ["url"] = $"http://hl7.org/fhir/R4/{type.ToLowerInvariant()}.html" },
                ["required"] = new JsonArray("resourceType"),
                ["properties"] = new JsonObject { ["resourceType"] = new JsonObject { ["const"] = type } },
                ["additionalProperties"] = true,
            };
        }

        schemas["OperationOutcome"] = JsonNode.Parse(
            """
            {
              "type": "object",
              "description": "What went wrong, or that nothing did.",
              "externalDocs": {"url": "http://hl7.org/fhir/R4/operationoutcome.html"},
              "required": ["resourceType", "issue"],
              "properties": {
                "resourceType": {"const": "OperationOutcome"},
                "issue": {
                  "type": "array",
                  "minItems": 1,
                  "items": {
                    "type": "object",
                    "required": ["severity", "code"],
                    "properties": {
                      "severity": {"type": "string", "enum": ["fatal", "error", "warning", "information"]},
                      "code": {"type": "string", "description": "FHIR's word for the kind of problem."},
                      "details": {"type": "object", "description": "coding[0].code is ours, and stable: software may rely on it."},
                      "diagnostics": {"type": "string", "description": "Where; what was seen; what is expected."},
                      "expression": {"type": "array", "items": {"type": "string"}, "description": "The place in what was sent."}
                    }
                  }
                }
              }
            }
            """
        );
        return schemas;
    }

    /// <summary>A bladder scan as a device sends it: the published example under an identifier of the sender's.</summary>
    private static JsonObject Measured(string number)
    {
        var scan = (Observation)
            Definitions
                .Examples(Profiles.CanonicalBase)
                .Single(example => example.Meta!.Profile.Contains(Profiles.Canonical("bladder-scan-volume")))
                .DeepCopy();
        (scan.Id, scan.Meta) = (null, null);
        scan.Identifier = [new("https://ward.example/scanner-gateway", $"scan-{number}")];
        return JsonNode.Parse(FhirJson.Write(scan))!.AsObject();
    }

    private static JsonObject Transaction() =>
        new()
        {
            ["resourceType"] = "Bundle",
            ["type"] = "transaction",
            ["entry"] = new JsonArray([
                .. new[] { "2", "3" }.Select(number => new JsonObject
                {
                    ["resource"] = Measured(number),
                    ["request"] = new JsonObject { ["method"] = "POST", ["url"] = "Observation" },
                }),
            ]),
        };

    private static JsonObject Tag(string name, string says) => new() { ["name"] = name, ["description"] = says };

    private static string About(CapabilityStatement.ResourceComponent resource) =>
        resource.Documentation
        ?? $"Published under the profiles {string.Join(", ", resource.SupportedProfile.Select(profile => profile!.Split('/')[^1]))}.";

    private static string TypeOf(CapabilityStatement.ResourceComponent resource) => (string)resource.TypeElement!.JsonValue!;

    private static JsonObject Schema(string type) => new() { ["$ref"] = $"#/components/schemas/{type}" };

    private static JsonObject Ref(string parameter) => new() { ["$ref"] = $"#/components/parameters/{parameter}" };

    private static JsonObject Told(string says) =>
        new()
        {
            ["description"] = says,
            ["schema"] = new JsonObject { ["type"] = "string" },
        };

    private static JsonObject Query(string name, string schema, string says) =>
        new()
        {
            ["name"] = name,
            ["in"] = "query",
            ["description"] = says.Trim(),
            ["schema"] = JsonNode.Parse(schema),
        };

    private static JsonObject InPath(string name, string says) =>
        new()
        {
            ["name"] = name,
            ["in"] = "path",
            ["required"] = true,
            ["description"] = says,
            ["schema"] = new JsonObject { ["type"] = "string" },
        };

    private static JsonObject Header(string name, string says) =>
        new()
        {
            ["name"] = name,
            ["in"] = "header",
            ["description"] = says,
            ["schema"] = new JsonObject { ["type"] = "string" },
        };
}
