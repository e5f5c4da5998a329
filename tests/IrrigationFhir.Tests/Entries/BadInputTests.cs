using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Entries;

/// <summary>What a sender gets wrong is said plainly, at once and completely, and changes nothing.</summary>
[Collection(EveningOnTheWard.Name)]
public sealed class BadInputTests(EveningOnTheWard evening)
{
    private const string End = "2026-03-14T20:00:00Z";

    /// <summary>Sent with every bad entry: it must not be stored either.</summary>
    private static readonly JsonObject Good = Of("bladder-scanned", "good", "09:00", ("volume", Millilitres(120)));

    /// <summary>One bad entry, and the code, place, sight and expectation of the refusal; the place is below <c>entries[1]</c>.</summary>
    private static readonly Dictionary<string, (JsonNode? Entry, string Code, string Where, string Saw, string Expected)> Entries = new()
    {
        ["an unknown kind"] = (Of("bag-hanged", "bad", "11:00"), "unknown-kind", ".kind", "kind 'bag-hanged'", "bag-hung"),
        ["no kind"] = (Emptied("bad", "11:00", 250).Without("kind"), "missing", ".kind", "nothing", "what happened"),
        ["no id"] = (Emptied("bad", "11:00", 250).Without("id"), "missing", ".id", "nothing", "the sender's id"),
        ["a text where an entry belongs"] = (JsonValue.Create("emptied 250"), "wrong-type", "", "no object", "a JSON object"),
        ["a missing unit"] = (Urine("""{"value": 250}"""), "missing-unit", ".volume.unit", "no unit", "UCUM unit: mL"),
        ["a unit outside the list"] = (
            Urine("""{"value": 8, "unit": "[foz_us]"}"""),
            "wrong-unit",
            ".volume.unit",
            "'[foz_us]'",
            "one of mL"
        ),
        ["a megalitre"] = (Urine("""{"value": 250, "unit": "ML"}"""), "wrong-unit", ".volume.unit", "megalitre", "one of mL"),
        ["cubic centimetres"] = (Urine("""{"value": 250, "unit": "cc"}"""), "wrong-unit", ".volume.unit", "not a UCUM unit", "one of mL"),
        ["a negative measured volume"] = (Urine("""{"value": -40, "unit": "mL"}"""), "negative", ".volume", "-40 mL", "0 or more"),
        ["a number as text"] = (Urine("""{"value": "250", "unit": "mL"}"""), "wrong-type", ".volume.value", "a text", "a number"),
        ["a volume without its braces"] = (Urine("250"), "wrong-type", ".volume", "a number", "a value with its unit"),
        ["a huge number"] = (Urine("""{"value": 1e400, "unit": "mL"}"""), "out-of-range", ".volume", "1e400", "0 to 1000 L"),
        ["a number beyond any decimal"] = (
            Urine("""{"value": 79228162514264337593543950336, "unit": "mL"}"""),
            "out-of-range",
            ".volume",
            "79228162514264337593543950336",
            "0 to 1000 L"
        ),
        ["the largest decimal, in litres"] = (
            Urine("""{"value": 79228162514264337593543950335, "unit": "L"}"""),
            "out-of-range",
            ".volume",
            "79228162514264337593543950335 L",
            "0 to 1000 L"
        ),
        ["a time without offset"] = (
            Emptied("bad", "11:00", 250).With("at", "2026-03-14T11:00:00"),
            "bad-time",
            ".at",
            "'2026-03-14T11:00:00'",
            "seconds and offset"
        ),
        ["a time without seconds"] = (
            Emptied("bad", "11:00", 250).With("at", "2026-03-14T11:00Z"),
            "bad-time",
            ".at",
            "'2026-03-14T11:00Z'",
            "seconds and offset"
        ),
        ["a day that does not exist"] = (
            Emptied("bad", "11:00", 250).With("at", "2026-02-30T11:00:00Z"),
            "bad-time",
            ".at",
            "'2026-02-30T11:00:00Z'",
            "a date and time"
        ),
        ["no time at all"] = (Emptied("bad", "11:00", 250).Without("at"), "missing", ".at", "nothing", "when it happened"),
        ["an end before its start"] = (
            Total("11:00", "10:00"),
            "end-before-start",
            ".to",
            "from 2026-03-14T11:00:00Z to 2026-03-14T10:00:00Z",
            "an end after the start"
        ),
        ["a time beyond the tolerance of clocks"] = (
            Of("bladder-scanned", "bad", "22:06", ("volume", Millilitres(80))),
            "time-in-future",
            ".at",
            "2026-03-14T22:06:00Z",
            "plus 5 min"
        ),
        ["a charting time beyond the tolerance of clocks"] = (
            Emptied("bad", "08:30", 250).With("recordedAt", At("22:06")),
            "time-in-future",
            ".recordedAt",
            "2026-03-14T22:06:00Z",
            "plus 5 min"
        ),
        ["a bag over a bag on one line"] = (
            BagHung("bad", "09:30", 3000),
            "overlapping-bags",
            "",
            "line '1', where one has been hanging since 2026-03-14T08:05:00Z",
            "bag-taken-down"
        ),
        ["totals that overlap"] = (
            Total("10:30", "12:00", "2"),
            "overlapping-totals",
            "",
            "from 2026-03-14T10:00:00Z to 2026-03-14T11:00:00Z",
            "follow one another"
        ),
        ["drainage while the drain is clamped"] = (
            Of("drainage-level-read", "bad", "13:20", ("level", Millilitres(650))),
            "drainage-while-clamped",
            "",
            "clamped since 2026-03-14T13:00:00Z",
            "drain-released first"
        ),
        ["irrigant after the end of the episode"] = (
            BagTakenDown("bad", "21:00", 0),
            "after-episode-end",
            ".at",
            "2026-03-14T21:00:00Z",
            "the episode's end, 2026-03-14T20:00:00Z"
        ),
        ["irrigant before the start of the episode"] = (
            BagHung("bad", "07:00", 3000).With("line", "3"),
            "before-episode-start",
            ".at",
            "2026-03-14T07:00:00Z",
            "the episode's start, 2026-03-14T08:00:00Z"
        ),
        ["a NUL in a text"] = (
            Emptied("bad", "11:00", 250).With("note", "clear\u0000urine"),
            "bad-text",
            ".note",
            "a control character",
            "none of them a control character"
        ),
        ["an original that is no Observation"] = (
            Emptied("bad", "11:00", 250).With("original", new JsonObject { ["status"] = "final" }),
            "wrong-type",
            ".original",
            "something else",
            "a FHIR Observation with status and code"
        ),
        ["a text beyond its length"] = (Emptied(new('x', 201), "11:00", 250), "bad-text", ".id", "201 characters", "1 to 200 characters"),
        ["an unknown property"] = (
            Emptied("bad", "11:00", 250).With("volum", Millilitres(300)),
            "unknown-property",
            ".volum",
            "a property that is not read",
            "drainage-emptied"
        ),
        ["an unknown property of a quantity"] = (
            Urine("""{"value": 250, "unit": "mL", "comparator": "<"}"""),
            "unknown-property",
            ".volume.comparator",
            "a property that is not read",
            "a quantity"
        ),
        ["drops without the set's drop factor"] = (Drops("{drop}/min"), "missing", ".dropFactor", "nothing", "drop factor"),
        ["a drop that UCUM fixes at a twentieth of a millilitre"] = (Drops("[drp]/min"), "wrong-unit", ".rate.unit", "1/20 mL", "mL/h"),
        ["an unknown route"] = (
            Urine("""{"value": 250, "unit": "mL"}""").With("route", "foley"),
            "unknown-word",
            ".route",
            "'foley'",
            "urethral-catheter"
        ),
        ["no route"] = (
            Urine("""{"value": 250, "unit": "mL"}""").Without("route"),
            "missing",
            ".route",
            "nothing",
            "the route the urine took"
        ),
        ["an unknown status"] = (
            Emptied("bad", "11:00", 250).With("status", "preliminary"),
            "unknown-word",
            ".status",
            "'preliminary'",
            "entered-in-error"
        ),
        ["the withdrawal of what never arrived"] = (Withdrawn("bad"), "nothing-to-retract", "", "id 'bad'", "the time of the entry"),
        ["the same id twice in one request"] = (
            Good.With("volume", Millilitres(130)),
            "same-id-twice",
            ".id",
            "which entries[0] has already",
            "each id once"
        ),
        ["pain beyond its scale"] = (Of("tolerance-noted", "bad", "11:00", ("pain", 11)), "out-of-range", ".pain", "11", "0 to 10"),
        ["irrigant discarded and nobody says how much"] = (
            Of("irrigant-discarded", "bad", "11:00"),
            "missing",
            ".volume",
            "nothing",
            "a volume"
        ),
        ["blood without volume or mass"] = (Of("blood-removed", "bad", "11:00"), "missing", ".volume", "nothing", "or its mass"),
        ["blood by volume and by mass"] = (
            Of("blood-removed", "bad", "11:00", ("volume", Millilitres(60)), ("mass", Grams(64))),
            "one-or-other",
            ".mass",
            "a volume and a mass",
            "one of them"
        ),
        ["blood by a volume that is a mass"] = (
            Of("blood-removed", "bad", "11:00", ("volume", Grams(64))),
            "wrong-unit",
            ".volume.unit",
            "unit 'g'",
            "one of mL"
        ),
        ["a container taken away before the episode began"] = (
            Of("container-taken-away", "bad", "07:00"),
            "before-episode-start",
            ".at",
            "2026-03-14T07:00:00Z",
            "the episode's start"
        ),
        ["a container taken away to nowhere"] = (
            Of("container-taken-away", "bad", "11:00", ("readAt", " ")),
            "bad-text",
            ".readAt",
            "an empty text",
            "1 to 1000 characters"
        ),
        ["a confirmation of nothing"] = (
            Of("reading-confirmed", "bad", "11:00"),
            "missing",
            ".reading",
            "nothing",
            "the entry that is confirmed"
        ),
        ["a confirmation that names no source"] = (
            Confirmed("""{"id": "level"}"""),
            "missing",
            ".reading.source",
            "nothing",
            "the source of the entry"
        ),
        ["a confirmation with a typing error"] = (
            Confirmed("""{"source": "ward-charting", "id": "level", "sequence": 4}"""),
            "unknown-property",
            ".reading.sequence",
            "a property that is not read",
            "the name of an entry"
        ),
        ["a confirmation of a text"] = (Confirmed("\"level\""), "wrong-type", ".reading", "a text", "an object"),
        ["a confirmation of what the log does not hold"] = (
            Confirmed("""{"source": "ward-charting", "id": "levle"}"""),
            "unknown-reading",
            ".reading",
            "id 'levle' of source 'ward-charting'",
            "as it was sent"
        ),
        ["a confirmation of itself"] = (
            Confirmed("""{"source": "ward-charting", "id": "bad"}"""),
            "unknown-reading",
            ".reading",
            "id 'bad'",
            "source and id of the reading"
        ),
        ["a bag named where none is read"] = (
            Emptied("bad", "11:00", 250).With("bag", "A"),
            "unknown-property",
            ".bag",
            "a property that is not read",
            "drainage-emptied"
        ),
        ["a weight of nothing"] = (
            Of("weight-measured", "bad", "11:00", ("weight", JsonNode.Parse("""{"value": 0, "unit": "kg"}""")), ("weightKind", "actual")),
            "out-of-range",
            ".weight",
            "0 kg",
            "0.01 kg or more"
        ),
    };

    /// <summary>Bodies that cannot be read at all.</summary>
    private static readonly Dictionary<
        string,
        (byte[] Body, string? Type, int Status, string Code, string? Where, string Saw, string Expected)
    > Bodies = new()
    {
        ["malformed JSON"] = (
            Text("""[{"source": "ward-charting", "id": }]"""),
            "application/json",
            400,
            "malformed-json",
            "body",
            "line 1, byte 36",
            "well-formed JSON"
        ),
        ["text after the JSON"] = (
            Text("""{} {}"""),
            "application/json",
            400,
            "malformed-json",
            "body",
            "unreadable JSON",
            "well-formed JSON"
        ),
        ["JSON nested without end"] = (
            Text(new string('[', 30_000)),
            "application/json",
            400,
            "too-deep",
            "body",
            "deeper than 64",
            "three levels"
        ),
        ["a byte order mark"] = (
            [0xEF, 0xBB, 0xBF, .. Text("[]")],
            "application/json",
            400,
            "byte-order-mark",
            "body",
            "a byte order mark",
            "UTF-8 without one"
        ),
        ["bytes that are not UTF-8"] = (
            [.. Text("{\"note\": \""), 0xC3, 0x28, .. Text("\"}")],
            "application/json",
            400,
            "malformed-json",
            "body",
            "not UTF-8",
            "UTF-8"
        ),
        ["UTF-16"] = (
            Encoding.Unicode.GetBytes("[]"),
            "application/json",
            400,
            "malformed-json",
            "body",
            "unreadable JSON",
            "well-formed JSON"
        ),
        ["half a character"] = (
            Text("""[{"source": "\\\ud83d\ude00", "id": "\ud83d"}]"""),
            "application/json",
            400,
            "half-character",
            "body",
            "without its other half",
            "surrogates in pairs"
        ),
        ["the other half of a character"] = (
            Text("""[{"\ude00\ud83d": 1}]"""),
            "application/json",
            400,
            "half-character",
            "body",
            "without its other half",
            "surrogates in pairs"
        ),
        ["an empty body"] = ([], "application/json", 400, "malformed-json", "body", "an empty body", "one entry"),
        ["a property twice"] = (
            Text("""[{}, {"id": "1", "volume": {"value": 1, "unit": "mL", "value": 2}}]"""),
            "application/json",
            400,
            "repeated-property",
            "body[1].volume.value",
            "twice",
            "each property once"
        ),
        ["a bad line among good ones"] = (
            Text($"{Good.ToJsonString()}\n{{\"source\": \n{Good.With("id", "third").ToJsonString()}\n"),
            "application/x-ndjson",
            400,
            "malformed-json",
            "line 2",
            "unreadable JSON",
            "well-formed JSON"
        ),
        ["XML"] = (
            Text("<entry/>"),
            "application/xml",
            415,
            "unsupported-media-type",
            null,
            "application/xml",
            "a Content-Type this address reads"
        ),
        ["another name for lines of JSON"] = (
            Text("{}"),
            "application/ndjson",
            415,
            "unsupported-media-type",
            null,
            "application/ndjson",
            "a Content-Type this address reads"
        ),
        ["no content type"] = (Text("[]"), null, 415, "unsupported-media-type", "Content-Type", "none", "application/json"),
        ["more bytes than the limit"] = (
            Text(new string(' ', EveningOnTheWard.MostBytes + 1)),
            "application/json",
            413,
            "body-too-large",
            null,
            "over the limit",
            "65536 bytes"
        ),
        ["more entries than the limit"] = (
            Text($"[{string.Join(',', Enumerable.Repeat("{}", EveningOnTheWard.MostEntries + 1))}]"),
            "application/json",
            413,
            "too-many-entries",
            "body",
            "101 entries",
            "at most 100"
        ),
    };

    public static TheoryData<string> BadEntries => [.. Entries.Keys];

    public static TheoryData<string> BadBodies => [.. Bodies.Keys];

    [Theory]
    [MemberData(nameof(BadEntries))]
    public async Task A_bad_entry_is_refused_with_the_whole_request_and_nothing_is_stored(string what)
    {
        var (entry, code, where, saw, expected) = Entries[what];
        var episode = await Morning();
        var before = await evening.Service.Everything(episode);

        var reply = await evening.Service.Post($"/episodes/{episode}/entries", new JsonArray(Good.DeepClone(), entry!.DeepClone()));

        reply.Refuses(422, code, $"entries[1]{where}", saw, expected);
        Assert.Equal(before, await evening.Service.Everything(episode));
    }

    [Theory]
    [MemberData(nameof(BadEntries))]
    public async Task With_lenient_handling_the_good_are_stored_and_the_bad_are_named(string what)
    {
        var (entry, code, where, saw, expected) = Entries[what];
        var episode = await Morning();

        var reply = await evening.Service.Post(
            $"/episodes/{episode}/entries",
            new JsonArray(Good.DeepClone(), entry!.DeepClone(), Good.With("id", "last")),
            "handling=lenient"
        );

        Assert.Equal(HttpStatusCode.OK, reply.Status);
        Assert.Equal(["recorded", "refused", "recorded"], reply.Outcomes);
        var named =
            entry is JsonObject { } sent && sent["source"] is { } source && (string?)sent["id"] is { Length: <= 200 } id
                ? ((string?)source, (string?)id)
                : default;
        Assert.Equal(named, ((string?)reply.Json["entries"]![1]!["source"], (string?)reply.Json["entries"]![1]!["id"]));
        var problem = reply.Json["entries"]![1]!["problems"]!.AsArray().Single(p => (string)p!["code"]! == code)!;
        Assert.Equal($"entries[1]{where}", (string)problem["where"]!);
        Assert.Contains(saw, (string)problem["saw"]!, StringComparison.Ordinal);
        Assert.Contains(expected, (string)problem["expected"]!, StringComparison.Ordinal);
        Assert.Equal(["good", "last"], (await Log(episode)).TakeLast(2));
    }

    [Theory]
    [MemberData(nameof(BadBodies))]
    public async Task A_body_that_cannot_be_read_is_refused_whatever_the_handling(string what)
    {
        var (body, type, status, code, where, saw, expected) = Bodies[what];
        var episode = await Morning();
        var before = await evening.Service.Everything(episode);
        foreach (var prefer in new[] { null, "handling=lenient" })
        {
            var reply = await evening.Service.Post($"/episodes/{episode}/entries", body, type, prefer);
            reply.Refuses(status, code, where, saw, expected);
        }

        Assert.Equal(before, await evening.Service.Everything(episode));
    }

    [Fact]
    public async Task A_character_may_be_written_as_its_two_halves()
    {
        var episode = await Morning();
        var note = """ "note": "\ud83d\ude00 \\ud83d" """;
        var reply = await evening.Service.Post(
            $"/episodes/{episode}/entries",
            Text(Good.ToJsonString()[..^1] + "," + note + "}"),
            "application/json"
        );
        Assert.Equal(["recorded"], reply.Outcomes);
        Assert.Equal(
            "\U0001f600 \\ud83d",
            (string)(await evening.Service.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray()[^1]!["entry"]!["note"]!
        );
    }

    [Fact]
    public async Task A_body_without_a_stated_length_meets_the_same_limit()
    {
        var episode = await Morning();
        var reply = await evening.Service.Post(
            $"/episodes/{episode}/entries",
            new byte[EveningOnTheWard.MostBytes + 1],
            "application/json",
            chunked: true
        );
        reply.Refuses(413, "body-too-large", null, "over the limit", "smaller");
    }

    [Fact]
    public async Task An_unknown_episode_is_named()
    {
        var reply = await evening.Service.Post("/episodes/nowhere/entries", new JsonArray(Good.DeepClone()));
        reply.Refuses(404, "unknown-episode", "id", "'nowhere'", "POST /episodes");
    }

    [Fact]
    public async Task Every_problem_of_every_entry_is_named_at_once()
    {
        var episode = await Morning();
        var reply = await evening.Service.Post(
            $"/episodes/{episode}/entries",
            new JsonArray(
                Urine("""{"value": -1, "unit": "mL"}""").With("at", "noon").With("route", "somewhere"),
                Of("bag-hanged", "b", "11:00")
            )
        );
        reply.Refuses(422, "negative", "entries[0].volume", "-1 mL", "0 or more");
        reply.Refuses(422, "bad-time", "entries[0].at", "'noon'", "seconds and offset");
        reply.Refuses(422, "unknown-word", "entries[0].route", "'somewhere'", "void");
        reply.Refuses(422, "unknown-kind", "entries[1].kind", "'bag-hanged'", "bag-hung");
    }

    [Fact]
    public async Task A_refusal_never_repeats_a_long_or_hidden_text()
    {
        var episode = await Morning();
        var reply = await evening.Service.Post(
            $"/episodes/{episode}/entries",
            new JsonArray(Of(new string('k', 500) + "\u0007", "b", "11:00"))
        );
        reply.Refuses(422, "bad-text", "entries[0].kind", "a control character", "none of them a control character");
        Assert.DoesNotContain(new string('k', 70), reply.Text, StringComparison.Ordinal);
    }

    [Fact]
    public async Task What_is_implausible_but_possible_is_stored_counted_and_marked()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Flow("f1", "08:30", 7000), Flow("f2", "10:30", 0), Emptied("d", "12:00", 28_000));

        var interval = (await evening.Service.Read($"/episodes/{episode}/balance"))["intervals"]!.AsArray().Single()!;
        var caveats = interval["caveats"]!.AsArray().Select(c => (string)c!).ToList();
        Assert.Contains("implausible-flow", caveats); // beyond 6.5 L/h, what gravity delivers (clinical reference 2.7)
        Assert.Contains("implausible-volume", caveats); // beyond 10 L, twice the largest bag
        Assert.Equal(14_000m, (decimal)interval["irrigantInstilled"]!["value"]!); // 2 h of 7000 mL/h
        Assert.Equal(14_000m, (decimal)interval["correctedUrineOutput"]!["headline"]!["value"]!); // 28000 − 14000
    }

    [Fact]
    public async Task A_number_with_more_digits_than_a_decimal_holds_is_kept_as_sent_and_counted_to_the_last_that_matters()
    {
        var episode = await evening.Open();
        const string digits = "250.0000000000000000000000000000000000001";
        var entry = Emptied("d", "12:00", 0).ToJsonString().Replace("\"value\":0", $"\"value\":{digits}", StringComparison.Ordinal);
        var reply = await evening.Service.Post($"/episodes/{episode}/entries", Text(entry), "application/json");
        Assert.Equal(["recorded"], reply.Outcomes);

        Assert.Contains(digits, (await evening.Service.Get($"/episodes/{episode}/entries")).Text, StringComparison.Ordinal);
        var interval = (await evening.Service.Read($"/episodes/{episode}/balance"))["intervals"]!.AsArray().Single()!;
        Assert.Equal(250m, (decimal)interval["correctedUrineOutput"]!["headline"]!["value"]!);
        Assert.Equal(["repeated"], (await evening.Service.Post($"/episodes/{episode}/entries", Text(entry), "application/json")).Outcomes);
    }

    [Fact]
    public async Task A_time_within_the_tolerance_of_clocks_is_taken()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Emptied("d", "22:05", 250)); // 5 min ahead of the service's clock, the default
        Assert.Equal(["d"], await Log(episode));
    }

    private static byte[] Text(string text) => Encoding.UTF8.GetBytes(text);

    private static JsonObject Urine(string volume) =>
        Of("urine-collected", "bad", "11:00", ("route", "void"), ("volume", JsonNode.Parse(volume)));

    private static JsonObject Grams(decimal value) => new() { ["value"] = value, ["unit"] = "g" };

    private static JsonObject Confirmed(string reading) => Of("reading-confirmed", "bad", "14:00", ("reading", JsonNode.Parse(reading)));

    private static JsonObject Drops(string unit) =>
        Of("flow-set", "bad", "11:00", ("rate", new JsonObject { ["value"] = 40, ["unit"] = unit }));

    private static JsonObject Total(string from, string to, string line = "9") =>
        Of("irrigant-instilled", "bad", to, ("from", At(from)), ("to", At(to)), ("volume", Millilitres(500)), ("line", line)).Without("at");

    /// <summary>
    /// 08:05 a bag on line 1; 10:00 to 11:00 a total on line 2; 13:00 clamped, read at 13:10; the episode ended at 20:00.
    /// </summary>
    private async Task<string> Morning()
    {
        var episode = await evening.Open(End);
        await evening.Service.Record(
            episode,
            BagHung("bag", "08:05", 3000),
            Total("10:00", "11:00", "2").With("id", "total"),
            Of("drain-clamped", "clamp", "13:00"),
            Of("drainage-level-read", "level", "13:10", ("level", Millilitres(400)))
        );
        return episode;
    }

    private async Task<IReadOnlyList<string>> Log(string episode) =>
        [.. (await evening.Service.Read($"/episodes/{episode}/entries"))["entries"]!.AsArray().Select(e => (string)e!["entry"]!["id"]!)];
}
