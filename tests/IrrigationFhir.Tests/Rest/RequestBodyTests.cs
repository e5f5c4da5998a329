using System.IO.Compression;
using System.Net;
using System.Net.Sockets;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Tests.Entries;

namespace IrrigationFhir.Tests.Rest;

/// <summary>Bodies that come slowly, packed, too large, or full of faults: they cost whoever sends them more than the service.</summary>
public class RequestBodyTests
{
    [Fact]
    public async Task Who_drips_a_body_holds_no_place_and_is_told_to_hurry()
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z", null, ("Fhir:BodySeconds", "2"), ("Intake:MostAtOnce", "4"));
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        var dripping = new List<Socket>();
        for (var i = 0; i < 40; i++)
        {
            var socket = new Socket(SocketType.Stream, ProtocolType.Tcp);
            await socket.ConnectAsync(ward.Http.BaseAddress!.Host, ward.Http.BaseAddress.Port);
            const string begun =
                "POST /fhir/Observation HTTP/1.1\r\nHost: localhost\r\n"
                + "Content-Type: application/fhir+json\r\nContent-Length: 5000\r\n\r\n{";
            await socket.SendAsync(Encoding.ASCII.GetBytes(begun));
            dripping.Add(socket);
        }

        // Of four places none is taken: an Observation that is refused for what it says was let in.
        var other = await ward.Post("/fhir/Observation", JsonNode.Parse("""{"resourceType": "Observation"}""")!);
        Assert.NotEqual(HttpStatusCode.TooManyRequests, other.Status);
        Assert.Equal(["recorded"], (await ward.Record(episode, Charted.Emptied("one", "09:00", 400))).Outcomes);

        var answer = new byte[4096];
        using var patience = new CancellationTokenSource(TimeSpan.FromSeconds(60));
        var length = await dripping[0].ReceiveAsync(answer, patience.Token);
        Assert.StartsWith("HTTP/1.1 408", Encoding.ASCII.GetString(answer, 0, length), StringComparison.Ordinal);
        dripping.ForEach(socket => socket.Dispose());
    }

    [Theory]
    [InlineData(1, 17_000, HttpStatusCode.RequestHeaderFieldsTooLarge)]
    [InlineData(65, 10, HttpStatusCode.RequestHeaderFieldsTooLarge)]
    [InlineData(20, 600, HttpStatusCode.OK)]
    public async Task Headers_have_a_limit_on_every_route(int count, int length, HttpStatusCode expected)
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z");
        using var request = new HttpRequestMessage(HttpMethod.Get, new Uri("/fhir/Observation?_count=1", UriKind.Relative));
        for (var i = 0; i < count; i++)
            request.Headers.Add($"X-Filler-{i}", new string('x', length));
        using var response = await ward.Http.SendAsync(request);
        Assert.Equal(expected, response.StatusCode);
        Assert.Equal(HttpStatusCode.OK, (await ward.Get("/health/live")).Status);
    }

    [Fact]
    public async Task Entries_come_packed_or_not_and_no_other_way()
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z", null, ("Fhir:MaxBodyBytes", "20000"));
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        var address = $"/episodes/{episode}/entries";
        var entry = Encoding.UTF8.GetBytes(Charted.Emptied("one", "09:00", 400).ToJsonString());

        Assert.Equal(HttpStatusCode.OK, (await Send(ward, address, Gzip(entry), "gzip")).Status);
        (await Send(ward, address, entry, "gzip")).Refuses(400, "malformed-gzip", "body", "not gzip", "RFC 1952");
        (await Send(ward, address, entry, "zstd")).Refuses(415, "unsupported-media-type", "Content-Encoding", "zstd", "gzip, br or none");

        // A few hundred bytes that are a megabyte.
        var bomb = Gzip(Encoding.UTF8.GetBytes(new string(' ', 1_000_000)));
        Assert.True(bomb.Length < 2000);
        (await Send(ward, address, bomb, "gzip")).Refuses(413, "body-too-large", "body", "larger than the limit", "20000 bytes");
    }

    [Theory]
    [InlineData("/episodes", "application/json")]
    [InlineData("/fhir/Subscription", "application/fhir+json")]
    [InlineData("/fhir/Observation/_search", "application/x-www-form-urlencoded")]
    public async Task What_describes_one_thing_is_not_long(string address, string type)
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z");
        var reply = await ward.Post(address, Encoding.UTF8.GetBytes(new string('x', 300_000)), type);
        reply.Refuses(413, "body-too-large", null, "over the limit", "262144 bytes");
    }

    [Fact]
    public async Task A_body_full_of_faults_is_answered_with_some_of_them()
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z");
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        static JsonNode Spoilt(int i) =>
            new JsonObject
            {
                ["source"] = "s",
                ["id"] = $"{i}",
                ["kind"] = new string('k', 40),
            };
        var spoilt = new JsonArray([.. Enumerable.Range(0, 1900).Select(Spoilt)]);
        var body = spoilt.ToJsonString();
        var reply = await ward.Post($"/episodes/{episode}/entries", spoilt);
        Assert.Equal(422, (int)reply.Status);
        Assert.Equal(101, reply.Json["issue"]!.AsArray().Count);
        Assert.True(reply.Text.Length < body.Length, $"{reply.Text.Length} for {body.Length}");
        reply.Refuses(422, "more-problems", null, "problems", "not shown");

        // One entry with very many properties that it does not have, each with a long name.
        var many = new JsonObject
        {
            ["source"] = "s",
            ["id"] = "many",
            ["kind"] = "drain-clamped",
            ["at"] = Charted.At("09:00"),
        };
        for (var i = 0; i < 2000; i++)
            many[$"{i}{new string('x', 500)}"] = 1;
        var lenient = await ward.Post($"/episodes/{episode}/entries", new JsonArray(many), "handling=lenient");
        Assert.True(lenient.Text.Length < 30_000, $"{lenient.Text.Length} bytes");
    }

    private static async Task<Reply> Send(RunningService ward, string address, byte[] body, string encoding)
    {
        using var request = new HttpRequestMessage(HttpMethod.Post, new Uri(address, UriKind.Relative));
        request.Content = new ByteArrayContent(body);
        request.Content.Headers.ContentType = new("application/json");
        request.Content.Headers.ContentEncoding.Add(encoding);
        using var response = await ward.Http.SendAsync(request);
        return await Reply.Of(response);
    }

    private static byte[] Gzip(byte[] bytes)
    {
        using var packed = new MemoryStream();
        using (var gzip = new GZipStream(packed, CompressionMode.Compress))
            gzip.Write(bytes);
        return packed.ToArray();
    }
}
