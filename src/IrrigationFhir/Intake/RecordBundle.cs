using System.Text.Json;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using Irrigation.Episodes;
using IrrigationFhir.Fhir;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using IrrigationFhir.Store;

namespace IrrigationFhir.Intake;

/// <summary>Batches, whose entries stand or fall alone, and transactions, which stand or fall together.</summary>
/// <remarks>
/// A transaction is one request of the main path, and so of one episode: rows of two patients are never in one database
/// transaction here. Its order is DELETE (refused), POST, PUT, GET, whatever the order of its entries.
/// </remarks>
internal sealed class RecordBundle(
    RecordObservations observations,
    InnerRequests inner,
    IntakeSettings settings,
    FhirSettings fhir,
    Vocabulary vocabulary
)
{
    private sealed record Item(
        int Index,
        string Method,
        string Url,
        string? FullUrl,
        JsonElement? Resource,
        string? IfMatch,
        string? IfNoneMatch,
        string? IfModifiedSince,
        string? IfNoneExist
    )
    {
        public string At => $"Bundle.entry[{Index}]";

        public bool Creates => Method == "POST" && Url == "Observation";

        /// <summary>
        /// Whether it creates whatever stands beside it: without a condition, or unless its own identifier is known.
        /// </summary>
        public bool CreatesAnyway => Creates && Resource is { } resource && IsOwn(IfNoneExist, resource);

        public string? Updates => Method == "PUT" && Url.Split('/') is ["Observation", var id] ? id : null;

        /// <summary>Whether it is a device, which is kept within the Observations that point at it.</summary>
        public bool IsFact =>
            Method is "POST" or "PUT"
            && ContainedFacts.Types.Contains(Url.Split('/', '?')[0])
            && Resource is { ValueKind: JsonValueKind.Object } resource
            && resource.TextOf("resourceType") == Url.Split('/', '?')[0];

        public IEnumerable<string> Addresses => new[] { FullUrl, Method == "PUT" ? Url : null }.OfType<string>();

        private static bool IsOwn(string? condition, JsonElement resource) =>
            condition is null
            || (
                resource.ValueKind == JsonValueKind.Object
                && resource.TryGetProperty("identifier", out var identifiers)
                && identifiers.ValueKind == JsonValueKind.Array
                && identifiers.EnumerateArray().FirstOrDefault() is { ValueKind: JsonValueKind.Object } own
                && Uri.UnescapeDataString(condition.TrimStart('?')) == $"identifier={own.TextOf("system")}|{own.TextOf("value")}"
            );

        public Write ToWrite(ContainedFacts? facts = null) =>
            new(facts?.Within(Resource!.Value) ?? Resource!.Value, $"{At}.resource", Updates, IfMatch, IfNoneExist);
    }

    /// <summary>Does what a Bundle asks for.</summary>
    public async Task<IResult> Handle(JsonElement bundle, HttpContext http, CancellationToken stop)
    {
        var type = bundle.TextOf("type");
        if (bundle.TextOf("resourceType") != "Bundle" || type is not ("batch" or "transaction"))
        {
            return Refused(
                StatusCodes.Status422UnprocessableEntity,
                new EntryProblem(
                    "wrong-type",
                    "Bundle.type",
                    $"{bundle.TextOf("resourceType") ?? "no resource"} of type '{type}'",
                    "a Bundle of type batch or transaction at the FHIR base; a single Observation goes to Observation"
                )
            );
        }

        var entries =
            bundle.TryGetProperty("entry", out var list) && list.ValueKind == JsonValueKind.Array ? list.EnumerateArray().ToList() : [];
        if (entries.Count > settings.MostBundleEntries)
        {
            return Refused(
                StatusCodes.Status413PayloadTooLarge,
                new EntryProblem(
                    "too-many-entries",
                    "Bundle.entry",
                    $"{entries.Count} entries",
                    $"at most {settings.MostBundleEntries}; send several Bundles"
                )
            );
        }

        var items = entries.Select(Read).ToList();
        var problems = items.SelectMany(Malformed).ToList();
        problems.AddRange(
            items
                .Where(i => i.FullUrl is not null)
                .GroupBy(i => i.FullUrl)
                .Where(g => g.Count() > 1)
                .Select(g => new EntryProblem(
                    "repeated-full-url",
                    string.Join(' ', g.Select(i => $"{i.At}.fullUrl")),
                    "the same fullUrl twice",
                    "each entry under a fullUrl of its own (bdl-7)"
                ))
        );
        if (type == "transaction" && problems.Count > 0)
            return Refused(StatusCodes.Status400BadRequest, [.. problems]);

        var replies = new JsonObject[items.Count];
        if (type == "transaction")
        {
            if (items.Find(i => i.Method == "DELETE") is { } deletes)
                return Refused(StatusCodes.Status405MethodNotAllowed, IntakeApi.NoDelete($"{deletes.At}.request.method"));
            var writes = items.Where(i => i.Creates || i.Updates is not null).ToList();
            var devices = items.Where(i => i.IsFact).ToList();
            var strangers = items.Except(writes).Except(devices).Where(i => i.Method != "GET").ToList();
            if (strangers.Count > 0)
                return Refused(StatusCodes.Status422UnprocessableEntity, [.. strangers.Select(Stranger)]);

            var facts = new ContainedFacts();
            foreach (var device in devices)
                facts.Add(device.Index, device.Addresses, device.Resource!.Value);
            var order = writes.OrderBy(i => i.Creates ? 0 : 1).Select(item => (item, Write: item.ToWrite(facts))).ToList();
            var unused = devices.Where(d => !facts.Used.Contains(d.Index)).ToList();
            if (unused.Count > 0 && Preferences.Strict(http.Request))
                return Refused(StatusCodes.Status422UnprocessableEntity, [.. unused.Select(Unused)]);
            var (each, all) = await observations.Together(
                [.. order.Select(o => (o.Write, o.item.FullUrl))],
                Preferences.Lenient(http.Request),
                http,
                stop
            );
            if (all is not null)
                return new OutcomeResult(all.Status, all.Outcome);
            foreach (var (one, written) in order.Zip(each!))
                replies[one.item.Index] = Reply(written, http);
            foreach (var device in devices)
                replies[device.Index] = Kept(unused.Contains(device) ? Unused(device) : null);
            foreach (var item in items.Where(i => i.Method == "GET"))
                replies[item.Index] = await Get(item, http);
        }
        else
        {
            // Readings that follow one another are written together; whatever else stands between them finds them written.
            for (var next = 0; next < items.Count; )
            {
                var readings = items.Skip(next).TakeWhile(item => item.CreatesAnyway && Of(item).Count == 0).ToList();
                var written = await observations.Each(readings.ConvertAll(item => item.ToWrite()), http, stop);
                foreach (var (reading, one) in readings.Zip(written))
                    replies[reading.Index] = Reply(one, http);
                next += readings.Count;
                if (next < items.Count)
                    replies[next] = await Alone(items[next], Of(items[next]), http, stop);
                next++;
            }
        }

        List<EntryProblem> Of(Item item) =>
            problems.FindAll(p => p.Where.Split(' ').Any(w => w.StartsWith(item.At + ".", StringComparison.Ordinal)));

        var answer = new JsonObject { ["resourceType"] = "Bundle", ["type"] = $"{type}-response" };
        if (replies.Length > 0)
            answer["entry"] = new JsonArray([.. replies]);
        return new BundleResult(JsonSerializer.SerializeToUtf8Bytes(answer, IntakeApi.Readable));
    }

    private async Task<JsonObject> Alone(Item item, List<EntryProblem> problems, HttpContext http, CancellationToken stop)
    {
        if (problems.Count > 0)
            return Reply(Written.Refused.Of(StatusCodes.Status400BadRequest, problems), http);
        if (item.Creates || item.Updates is not null)
            return Reply(await observations.One(item.ToWrite(), http, stop), http);
        return item.Method switch
        {
            "GET" => await Get(item, http),
            "DELETE" => Reply(
                Written.Refused.Of(StatusCodes.Status405MethodNotAllowed, IntakeApi.NoDelete($"{item.At}.request.method")),
                http
            ),
            _ => Reply(Written.Refused.Of(StatusCodes.Status422UnprocessableEntity, Stranger(item)), http),
        };
    }

    private async Task<JsonObject> Get(Item item, HttpContext http)
    {
        var reply = await inner.Get(http, item.Url, Preferences.Strict(http.Request));
        var response = new JsonObject { ["status"] = Status(reply.StatusCode) };
        if (reply.ETag is { } tag)
            response["etag"] = tag;
        if (reply is ResourceResult read && read.IsKnownTo(item.IfNoneMatch, item.IfModifiedSince))
        {
            response["status"] = Status(StatusCodes.Status304NotModified);
            return new() { ["response"] = response };
        }

        var body = JsonNode.Parse(reply.Json(vocabulary).Span);
        if (reply.StatusCode >= 400)
            response["outcome"] = body;
        return reply.StatusCode >= 400 ? new() { ["response"] = response } : new() { ["resource"] = body, ["response"] = response };
    }

    private JsonObject Reply(Written written, HttpContext http)
    {
        if (written is Written.Refused refused)
        {
            return new()
            {
                ["response"] = new JsonObject
                {
                    ["status"] = Status(refused.Status),
                    ["outcome"] = JsonNode.Parse(FhirJson.Write(refused.Outcome.Under(vocabulary))),
                },
            };
        }

        var stands = (Written.Stands)written;
        http.Shows(stands.Episodes);
        var response = new JsonObject { ["status"] = Status(stands.Status) };
        var entry = new JsonObject();
        if (stands.Resource is { } stored)
        {
            entry["fullUrl"] = $"{FhirBase.Of(http.Request, fhir)}/Observation/{stored.Id}";
            if (Preferences.Return(http.Request) == "representation")
                entry["resource"] = JsonNode.Parse(stored.Json);
            response["location"] = $"Observation/{stored.Id}/_history/{stored.VersionId}";
            response["etag"] = EntityTags.Of(stored.VersionId);
            response["lastModified"] = LastUpdatedText.Of(stored.LastUpdated);
        }

        response["outcome"] = JsonNode.Parse(FhirJson.Write(Outcomes.AllIsWell(stands.Disposition, stands.Warnings).Under(vocabulary)));
        entry["response"] = response;
        return entry;
    }

    /// <summary>What became of a device: it has no address of its own.</summary>
    private static JsonObject Kept(EntryProblem? not)
    {
        var outcome = not is null
            ? Outcomes.AllIsWell("kept within the Observations of this transaction that point at it")
            : Outcomes.AllIsWell("read", Outcome.Warning(not.Code, not.Saw, not.Expected, not.Where));
        return new()
        {
            ["response"] = new JsonObject
            {
                ["status"] = Status(StatusCodes.Status200OK),
                ["outcome"] = JsonNode.Parse(FhirJson.Write(outcome)),
            },
        };
    }

    private static EntryProblem Unused(Item item) =>
        new(
            "not-kept",
            $"{item.At}.resource",
            "a device that no Observation points at",
            "one that an Observation of this transaction names"
        );

    private static Item Read(JsonElement entry, int index)
    {
        var request = entry.ValueKind == JsonValueKind.Object && entry.TryGetProperty("request", out var given) ? given : default;
        return new(
            index,
            request.TextOf("method") ?? "",
            (request.TextOf("url") ?? "").TrimStart('/'),
            entry.TextOf("fullUrl"),
            entry.ValueKind == JsonValueKind.Object && entry.TryGetProperty("resource", out var resource) ? resource : null,
            request.TextOf("ifMatch"),
            request.TextOf("ifNoneMatch"),
            request.TextOf("ifModifiedSince"),
            request.TextOf("ifNoneExist")
        );
    }

    private static IEnumerable<EntryProblem> Malformed(Item item)
    {
        if (item.Method.Length == 0)
            yield return EntryProblem.Missing($"{item.At}.request.method", "POST, PUT or GET");
        if (item.Url.Length == 0)
            yield return EntryProblem.Missing($"{item.At}.request.url", "Observation, Observation/[id], or what to get");
        if (item is { Method: "POST" or "PUT", IfNoneMatch: not null })
            yield return new(
                "not-understood",
                $"{item.At}.request.ifNoneMatch",
                $"ifNoneMatch with {item.Method}",
                "ifNoneMatch with GET, ifMatch with PUT, ifNoneExist with POST"
            );
        if (item is { Method: "POST" or "PUT", Resource: null })
            yield return EntryProblem.Missing($"{item.At}.resource", "the Observation");
    }

    private static EntryProblem Stranger(Item item) =>
        new(
            "not-understood",
            $"{item.At}.request",
            $"{item.Method} {item.Url}",
            "POST Observation, PUT Observation/[id] or GET, in a transaction also Device and DeviceMetric, which are kept within the "
                + "Observations that point at them; patients and encounters are referred to by identifier or address and not kept here"
        );

    private static string Status(int status) =>
        status switch
        {
            200 => "200 OK",
            201 => "201 Created",
            304 => "304 Not Modified",
            400 => "400 Bad Request",
            403 => "403 Forbidden",
            404 => "404 Not Found",
            405 => "405 Method Not Allowed",
            409 => "409 Conflict",
            412 => "412 Precondition Failed",
            422 => "422 Unprocessable Entity",
            _ => status.ToString(System.Globalization.CultureInfo.InvariantCulture),
        };

    private static OutcomeResult Refused(int status, params EntryProblem[] problems) => new(status, Outcomes.Of(problems));
}
