using System.Collections.Concurrent;
using System.Globalization;
using System.Text;
using System.Text.Json;
using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using IrrigationFhir.Demo;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Entries;
using IrrigationFhir.Tests.Intake;
using IrrigationFhir.Tests.Rest;
using IrrigationFhir.Tests.Subscriptions;
using IrrigationFhir.Tests.Validation;
using Microsoft.AspNetCore.Routing;
using Microsoft.Data.Sqlite;
using Microsoft.Extensions.DependencyInjection;
using Microsoft.Extensions.Logging;

namespace IrrigationFhir.Tests.Fuzz;

/// <summary>
/// Spoilt bodies against every address that takes one, as the service itself lists them: whatever comes, it answers, it says what
/// is wrong as FHIR does, and what it refuses leaves no trace.
/// </summary>
public partial class FuzzTests
{
    /// <summary>Bodies in all, on all addresses together.</summary>
    private const int Bodies = 12_000;

    /// <summary>The same bodies each time, unless somebody asks for others by <c>FUZZ_SEED</c>.</summary>
    internal static readonly int Seed = int.Parse(
        Environment.GetEnvironmentVariable("FUZZ_SEED") ?? "20260314",
        CultureInfo.InvariantCulture
    );

    /// <summary>
    /// Requests at once, each against a service of its own, so that what one of them stores is not laid at another's door.
    /// </summary>
    private const int AtOnce = 2;

    /// <summary>
    /// An episode is left for a new one after so many bodies: a long log makes slow balances, and those are not what is looked for.
    /// </summary>
    private const int BodiesOfOneEpisode = 150;

    private const int MostBytes = 32 * 1024;

    /// <summary>No timing is claimed: a machine that does much else is given time, and a request that hangs still ends.</summary>
    private static readonly TimeSpan Patience = TimeSpan.FromSeconds(60);

    [Fact]
    public async Task Whatever_body_comes_the_service_answers_as_it_should_and_keeps_nothing_of_what_it_refuses()
    {
        var (faults, taken, refused) = (new ConcurrentDictionary<string, string>(), 0, 0);
        await Task.WhenAll(
            Enumerable
                .Range(0, AtOnce)
                .Select(worker =>
                    Task.Run(async () =>
                    {
                        await using var target = await Target.Start();
                        Assert.NotEmpty(target.Routes);
                        for (var number = worker; number < Bodies; number += AtOnce)
                        {
                            if (number / AtOnce % BodiesOfOneEpisode == 0)
                                await target.NewEpisode();
                            var (fault, status) = await target.Try(number);
                            if (fault is not null)
                                faults.TryAdd(fault, string.Create(CultureInfo.InvariantCulture, $"body {number}"));
                            if (status >= 400)
                                Interlocked.Increment(ref refused);
                            else
                                Interlocked.Increment(ref taken);
                        }

                        if (await target.Restarted() is { } lost)
                            faults.TryAdd(lost, "after a restart");
                    })
                )
        );

        Assert.True(
            faults.IsEmpty,
            $"{faults.Count} faults with seed {Seed}:\n{string.Join('\n', faults.Take(40).Select(f => $"{f.Value}: {f.Key}"))}"
        );

        // Neither a wall nor a sieve: both sides were met.
        Assert.True(taken > Bodies / 50, $"{taken} taken");
        Assert.True(refused > Bodies / 2, $"{refused} refused");
    }

    /// <summary>A service with an episode, and bodies that it takes.</summary>
    private sealed partial class Target : IAsyncDisposable
    {
        private readonly RunningService _ward;
        private readonly SqliteConnection _looking;
        private readonly List<string> _episodes = [];
        private readonly ConcurrentQueue<string> _log = [];
        private string _observation = "",
            _kept = "";
        private long _dataVersion;

        private Target(RunningService ward)
        {
            _ward = ward;
            _looking = new($"Data Source={Directory.GetFiles(ward.Folder, "*.db").Single()};Mode=ReadOnly;Pooling=False");
            _looking.Open();
            Routes = RoutesOf(ward);
            ward.Services.GetRequiredService<ILoggerFactory>().AddProvider(new FhirOverHttp.Recorder(_log));
        }

        /// <summary>Every address that takes a body.</summary>
        public IReadOnlyList<(string Method, string Pattern)> Routes { get; }

        public static Task<Target> Start() => Task.FromResult(new Target(Run(null)));

        /// <summary>A patient nobody wrote about yet, with an episode and an Observation that may be corrected.</summary>
        public async Task NewEpisode()
        {
            var identifier = string.Create(CultureInfo.InvariantCulture, $"stay-{_episodes.Count}");
            _episodes.Add(await _ward.Open(RunningService.Episode(identifier, "2026-03-14T08:00:00Z")));
            var created = await Sender.Post(Emptied("first", "09:00"));
            _observation = created.Is(201).Id;
            _kept = await Kept();
        }

        /// <summary>Sends one; says what is wrong with the answer, or with what it left behind.</summary>
        public async Task<(string? Fault, int Status)> Try(int number)
        {
            var chance = new Random(unchecked((number * 1_000_003) + Seed));
            var (method, pattern) = Routes[number / AtOnce % Routes.Count];
            var (good, type) = Good(pattern, chance);
            var sent = new Spoiler(chance).Spoil(good, type, MostBytes);
            var address = Address(pattern, chance);
            string Fault(string what) => $"{method} {pattern}: {what}";

            using var request = new HttpRequestMessage(new(method), new Uri(address + sent.Query, UriKind.Relative))
            {
                Content = new ByteArrayContent(sent.Body),
            };
            if (sent.ContentType is not null)
                request.Content.Headers.TryAddWithoutValidation("Content-Type", sent.ContentType);
            if (sent.Encoding is not null)
                request.Content.Headers.TryAddWithoutValidation("Content-Encoding", sent.Encoding);
            foreach (var (name, value) in sent.Headers)
                request.Headers.TryAddWithoutValidation(name, value);
            if (sent.Chunked)
                request.Headers.TransferEncodingChunked = true;

            // A server that refuses a large body need not read it, and closes the connection: whoever sends one waits to be asked.
            if (sent.Body.Length > MostBytes)
                (request.Headers.ExpectContinue, request.Headers.ConnectionClose) = (true, true);

            using var patience = new CancellationTokenSource(Patience);
            string text;
            int status;
            string? media;
            try
            {
                using var response = await _ward.Http.SendAsync(request, patience.Token);
                (status, media) = ((int)response.StatusCode, response.Content.Headers.ContentType?.MediaType);
                text = await response.Content.ReadAsStringAsync(patience.Token);
            }
            catch (Exception failure) when (failure is OperationCanceledException or HttpRequestException)
            {
                return (Fault($"no answer ({failure.GetType().Name}) to {Shown(sent)}"), 0);
            }

            if (Wrong(status, media, text) is { } wrong)
                return (Fault($"{wrong}\n    {Origin(text)}to {Shown(sent)}"), status);
            if (!Refuses(status, text))
                _kept = await Kept();
            else if (await Changed() && _kept != (_kept = await Kept()))
                return (Fault($"{status}, and something was stored of {Shown(sent)}"), status);
            return (null, status);
        }

        /// <summary>What is in memory must be what is on the disk: another process reads the same.</summary>
        public async Task<string?> Restarted()
        {
            await using var again = Run(_ward.Folder);
            return await Told(_ward) == await Told(again) ? null : "the service that wrote it and one that reads it do not tell the same";
        }

        public async ValueTask DisposeAsync()
        {
            await _looking.DisposeAsync();
            await _ward.DisposeAsync();
        }

        private Sender Sender => new(_ward, string.Create(CultureInfo.InvariantCulture, $"patient of stay-{_episodes.Count - 1}"));

        private static RunningService Run(string? folder) =>
            RunningService.Start(
                EveningOnTheWard.Now,
                folder,
                ("Fhir:MaxBodyBytes", $"{MostBytes}"),
                ("Entries:Most", "50"),
                ("Intake:MostBundleEntries", "20"),
                ("Subscriptions:AllowLoopback", "true")
            );

        private static List<(string, string)> RoutesOf(RunningService ward) =>
            [
                .. from endpoint in ward.Services.GetRequiredService<EndpointDataSource>().Endpoints.OfType<RouteEndpoint>()
                from method in endpoint.Metadata.GetMetadata<IHttpMethodMetadata>()?.HttpMethods ?? []
                where method is "POST" or "PUT" or "PATCH"
                orderby endpoint.RoutePattern.RawText, method
                select (method, "/" + endpoint.RoutePattern.RawText!.Trim('/')),
            ];

        private string Address(string pattern, Random chance) =>
            chance.Next(20) switch
            {
                0 => pattern.Replace("{id}", "nowhere", StringComparison.Ordinal),
                1 => pattern.Replace("{id}", Uri.EscapeDataString("\u00e9 \u0001|'"), StringComparison.Ordinal),
                _ => pattern.Replace(
                    "{id}",
                    pattern.StartsWith("/episodes", StringComparison.Ordinal) ? _episodes[^1]
                        : pattern.Contains("/Patient/", StringComparison.Ordinal) ? "p-1"
                        : _observation,
                    StringComparison.Ordinal
                ),
            };

        /// <summary>A body that is taken at that address; one that nobody thought of here is given any of them.</summary>
        private (string Body, string Type) Good(string pattern, Random chance)
        {
            const string Fhir = "application/fhir+json";
            const string Form = "application/x-www-form-urlencoded";
            string id = string.Create(CultureInfo.InvariantCulture, $"e-{chance.Next(12)}"),
                clock = string.Create(CultureInfo.InvariantCulture, $"{chance.Next(9, 22):00}:{chance.Next(60):00}");
            var observation = Emptied(id, clock);
            var patient = $"{RunningService.PatientSystem}|{observation["subject"]!["identifier"]!["value"]}";
            (string, string)[] entries =
            [
                (
                    new JsonArray(Charted.Emptied(id, clock, chance.Next(900)), Charted.Flow(id + "f", clock, 300)).ToJsonString(),
                    "application/json"
                ),
                (Charted.BagHung(id, clock, 3000).ToJsonString(), "application/json"),
                ($"{Charted.Emptied(id, clock, 250).ToJsonString()}\n{Charted.Withdrawn(id).ToJsonString()}", "application/x-ndjson"),
                (new JsonArray(Charted.Emptied(id, clock, 4000), Confirmed(id, clock)).ToJsonString(), "application/json"),
                (new JsonArray(NotUrine(id, clock)).ToJsonString(), "application/json"),
            ];
            (string, string)[] parameters =
            [
                (
                    Parameters(
                        ("patient", "valueString", patient.Split('|')[1]),
                        ("code", "valueString", "bladder-drainage-total"),
                        ("max", "valueInteger", 2)
                    ),
                    Fhir
                ),
                (
                    Parameters(
                        ("identifier", "valueString", patient),
                        ("_type", "valueString", "Observation"),
                        ("_since", "valueInstant", "2026-01-01T00:00:00Z"),
                        ("start", "valueDate", "2026-03-01"),
                        ("_count", "valueInteger", 3)
                    ),
                    Fhir
                ),
                ($"patient.identifier={Uri.EscapeDataString(patient)}&code=bladder-drainage-total&max=1", Form),
            ];
            (string, string)[] forms =
            [
                ($"patient.identifier={Uri.EscapeDataString(patient)}&_sort=-date&_count=5&_include=Observation:derived-from", Form),
                (
                    "component-code-value-quantity=duration%24gt1%7C%7Ch&date=ge2026-03-14&_summary=true&code:text=urine&status:not=final",
                    Form
                ),
            ];
            (string, string)[] validated =
            [
                (observation.ToJsonString(), Fhir),
                (
                    new JsonObject
                    {
                        ["resourceType"] = "Parameters",
                        ["parameter"] = new JsonArray(
                            new JsonObject { ["name"] = "resource", ["resource"] = observation.DeepClone() },
                            new JsonObject { ["name"] = "mode", ["valueCode"] = "create" }
                        ),
                    }.ToJsonString(),
                    Fhir
                ),
                (Published[chance.Next(Published.Count)], Fhir),
            ];
            var corrected = observation.DeepClone().AsObject();
            (corrected["id"], corrected["status"], corrected["identifier"]) = (
                _observation,
                "amended",
                Emptied("first", "09:00")["identifier"]!.DeepClone()
            );
            (string, string)[] subscriptions =
            [
                (
                    FhirJson.Write(
                        SampleSubscriptions.Here(
                            Topics.FlagRaised,
                            "Flag?code=no-drainage,outflow-deficit&priority=PH",
                            "Flag.patient.identifier=https://ward.example/patients|P-1"
                        )
                    ),
                    Fhir
                ),
                (FhirJson.Write(SampleSubscriptions.Here(Topics.CorrectedOutputAmended, "Observation?category=clock-hour")), Fhir),
                (
                    Parameters(
                        ("eventsSinceNumber", "valueString", "2"),
                        ("eventsUntilNumber", "valueString", "3"),
                        ("content", "valueCode", "empty")
                    ),
                    Fhir
                ),
                ("id=a,b&status=active", Form),
            ];
            (string, string)[] bundles = [Bundle("batch"), Bundle("transaction")];
            (string, string)[] episode =
            [
                (
                    RunningService
                        .Episode($"stay-{_episodes.Count - 1}", "2026-03-14T08:00:00Z", patient: patient.Split('|')[1])
                        .ToJsonString(),
                    "application/json"
                ),
                (InventedNight.Episode().ToJsonString(), "application/json"),
            ];

            var fitting = pattern switch
            {
                "/fhir" => bundles,
                "/episodes" => episode,
                _ when pattern.EndsWith("/entries", StringComparison.Ordinal) => entries,
                _ when pattern.EndsWith("/_search", StringComparison.Ordinal) => forms,
                _ when pattern.EndsWith("/$validate", StringComparison.Ordinal) => validated,
                _ when pattern.EndsWith("/$lastn", StringComparison.Ordinal)
                        || pattern.EndsWith("/$everything", StringComparison.Ordinal) => parameters,
                "/fhir/Observation" => [(observation.ToJsonString(), Fhir)],
                "/fhir/Observation/{id}" => [(corrected.ToJsonString(), Fhir)],
                _ when pattern.StartsWith("/fhir/Subscription", StringComparison.Ordinal) => subscriptions,
                _ => [],
            };
            return fitting.Length > 0 && chance.Next(8) > 0 ? fitting[chance.Next(fitting.Length)]
                : ((string, string)[])[.. entries, .. parameters, .. forms, .. validated, .. bundles, .. episode] is var all
                    ? all[chance.Next(all.Length)]
                : default;

            (string, string) Bundle(string kind) =>
                (
                    new JsonObject
                    {
                        ["resourceType"] = "Bundle",
                        ["type"] = kind,
                        ["entry"] = new JsonArray(
                            Intake.Sender.Entry(observation.DeepClone(), "urn:uuid:6f0d7b0e-5a5c-4c4e-9d0a-1f4d1c1f8a11"),
                            Intake.Sender.Entry(corrected.DeepClone(), null, "PUT", $"Observation/{_observation}"),
                            new JsonObject
                            {
                                ["request"] = new JsonObject { ["method"] = "GET", ["url"] = "Observation?_count=2" },
                            }
                        ),
                    }.ToJsonString(),
                    Fhir
                );
        }

        private static JsonObject Confirmed(string id, string clock) =>
            Charted.Of("reading-confirmed", id + "c", clock, ("reading", new JsonObject { ["source"] = Charted.Source, ["id"] = id }));

        /// <summary>What left the bag and not the patient, what left the patient and is no urine, and what is read elsewhere.</summary>
        private static JsonNode[] NotUrine(string id, string clock) =>
            [
                Charted.Of("irrigant-discarded", id + "d", clock, ("line", "1"), ("volume", Charted.Millilitres(60))),
                Charted.Of("blood-removed", id + "b", clock, ("mass", new JsonObject { ["value"] = 64, ["unit"] = "g" })),
                Charted.Of("container-taken-away", id + "t", clock, ("container", "1"), ("readAt", "sluice")),
                Charted.Of("bag-read", id + "y", clock, ("remaining", Charted.Millilitres(400)), ("bag", "A")),
            ];

        private JsonObject Emptied(string id, string clock) =>
            Sender.Observation("drainage-emptied", id, clock, Intake.Sender.Quantity("250", "mL"));

        private static string Parameters(params (string Name, string Type, JsonNode Value)[] given) =>
            new JsonObject
            {
                ["resourceType"] = "Parameters",
                ["parameter"] = new JsonArray([.. given.Select(g => new JsonObject { ["name"] = g.Name, [g.Type] = g.Value })]),
            }.ToJsonString();

        private static IReadOnlyList<string> Published { get; } = [.. Judged.Examples.Select(FhirJson.Write)];

        /// <summary>What is wrong with an answer, by itself.</summary>
        private static string? Wrong(int status, string? media, string text)
        {
            if (status >= 500)
                return $"{status}: {text}";
            JsonNode? json;
            try
            {
                json = text.Length == 0 ? null : JsonNode.Parse(text);
            }
            catch (JsonException)
            {
                return $"{status} with what is no JSON: {text[..Math.Min(text.Length, 200)]}";
            }

            if (status >= 400)
            {
                if (media != "application/fhir+json" || (string?)json?["resourceType"] != "OperationOutcome")
                    return $"{status} as {media} without an OperationOutcome: {text}";
                if (json["issue"] is not JsonArray { Count: > 0 } issues)
                    return $"{status} without an issue";
                if (
                    issues.Any(i =>
                        (string?)i!["severity"] is null || (string?)i["code"] is null || string.IsNullOrEmpty((string?)i["diagnostics"])
                    )
                )
                    return $"{status} with an issue that says nothing: {text}";
                return null;
            }

            return Parts(json).FirstOrDefault(part => part[0] == '5') is { } failed ? $"{status} with an entry of {failed}: {text}" : null;
        }

        /// <summary>Whether nothing at all may have been stored: a refusal, or a batch of refusals.</summary>
        private static bool Refuses(int status, string text) =>
            status >= 400
            || (
                text.Length > 0 && Parts(JsonNode.Parse(text)).ToList() is { Count: > 0 } parts && parts.TrueForAll(part => part[0] == '4')
            );

        private static IEnumerable<string> Parts(JsonNode? json) =>
            json is JsonObject o && (string?)o["resourceType"] == "Bundle"
                ? o["entry"]?.AsArray().Select(e => (string?)e!["response"]?["status"]).OfType<string>() ?? []
                : [];

        /// <summary>Where a failure of ours came from, by the id that the answer names.</summary>
        private string Origin(string text) =>
            string.Concat(
                _log.Where(line =>
                        FailureId().Match(text) is { Success: true, Value: var id } && line.Contains(id, StringComparison.Ordinal)
                    )
                    .Select(line => line + "\n    ")
            );

        private static string Shown(Spoilt sent)
        {
            var body = Encoding.UTF8.GetString(sent.Body);
            var start = body.Length > 700 ? body[..700] + "…" : body;
            var head = $"{sent.ContentType ?? "no type"} {sent.Encoding} {sent.Query} {string.Join(' ', sent.Headers)}";
            return $"{head} {(sent.Chunked ? "chunked " : "")}{sent.Body.Length} bytes {start}";
        }

        /// <summary>Whether anybody wrote to the database since it was asked last.</summary>
        private async Task<bool> Changed()
        {
            using var asked = _looking.CreateCommand();
            asked.CommandText = "pragma data_version";
            var version = (long)(await asked.ExecuteScalarAsync())!;
            return version != (_dataVersion, _dataVersion = version).Item1;
        }

        /// <summary>Rows of every table, and the sum of all versions.</summary>
        private async Task<string> Kept()
        {
            await Changed();
            using var asked = _looking.CreateCommand();
            asked.CommandText = """
                select (select count(*) from episode) || ' ' || (select sum(version) from episode) || ' ' ||
                    (select count(*) from entry) || ' ' ||
                    (select count(*) from resource) || ' ' || (select sum(version_id) from resource) || ' ' ||
                    (select count(*) from resource_version) || ' ' || (select count(*) from resource_identifier) || ' ' ||
                    (select count(*) from resource_component) || ' ' || (select count(*) from resource_link) || ' ' ||
                    (select count(*) from withheld)
                """;
            return (string)(await asked.ExecuteScalarAsync())!;
        }

        [GeneratedRegex("[0-9a-f]{32}")]
        private static partial Regex FailureId();

        private async Task<string> Told(RunningService ward)
        {
            var told = new StringBuilder();
            foreach (var episode in _episodes)
            {
                foreach (var of in new[] { "", "/entries", "/balance" })
                    told.AppendLine((await ward.Get($"/episodes/{episode}{of}")).Text);
            }

            return told.ToString();
        }
    }
}
