using System.Net;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using System.Text.Json.Nodes;
using WireMock.RequestBuilders;
using WireMock.ResponseBuilders;
using WireMock.Server;
using WireMock.Settings;

namespace IrrigationFhir.Tests.Subscriptions;

/// <summary>An endpoint over a real socket, and what it was told.</summary>
internal sealed class Subscriber : IDisposable
{
    private readonly WireMockServer server;
    private int priority = 1000; // what was said last counts

    private Subscriber(WireMockServer server) => this.server = server;

    /// <summary>Starts one that answers 200 to everything.</summary>
    public static Subscriber Start(X509Certificate2? certificate = null)
    {
        var subscriber = new Subscriber(
            WireMockServer.Start(
                new WireMockServerSettings
                {
                    UseSSL = certificate is not null,
                    CertificateSettings = certificate is null ? null : new() { X509Certificate = certificate },
                }
            )
        );
        subscriber.Answers(Response.Create().WithStatusCode(200));
        return subscriber;
    }

    /// <summary>A certificate that nobody but its maker trusts, for the name localhost.</summary>
    public static X509Certificate2 SelfSigned()
    {
        using var key = RSA.Create(2048);
        var request = new CertificateRequest("CN=localhost", key, HashAlgorithmName.SHA256, RSASignaturePadding.Pkcs1);
        var names = new SubjectAlternativeNameBuilder();
        names.AddDnsName("localhost");
        request.CertificateExtensions.Add(names.Build());
        request.CertificateExtensions.Add(new X509BasicConstraintsExtension(true, false, 0, true));
        using var made = request.CreateSelfSigned(DateTimeOffset.UtcNow.AddDays(-1), DateTimeOffset.UtcNow.AddDays(1));
        return X509CertificateLoader.LoadPkcs12(made.Export(X509ContentType.Pkcs12), null);
    }

    /// <summary>Its address.</summary>
    public string Address(string path = "/hook") => $"{server.Urls[0].Replace("127.0.0.1", "localhost", StringComparison.Ordinal)}{path}";

    /// <summary>What it answers from now on.</summary>
    public void Answers(IResponseBuilder response, string path = "/*") =>
        server.Given(Request.Create().WithPath(path).UsingPost()).AtPriority(--priority).RespondWith(response);

    /// <summary>Answers these, one after another, and 200 once they have run out.</summary>
    public void AnswersInTurn(params IResponseBuilder[] responses)
    {
        server.ResetMappings();
        for (var i = 0; i <= responses.Length; i++)
        {
            var given = server.Given(Request.Create().UsingPost()).InScenario("turns");
            if (i > 0)
                given = given.WhenStateIs($"{i}");
            given
                .WillSetStateTo($"{Math.Min(i + 1, responses.Length)}")
                .RespondWith(i < responses.Length ? responses[i] : Response.Create().WithStatusCode(200));
        }
    }

    /// <summary>Every request so far, in order.</summary>
    public IReadOnlyList<Notification> All(string? path = null) =>
        [
            .. server
                .LogEntries.Where(e => path is null || e.RequestMessage!.Path == path)
                .OrderBy(e => e.RequestMessage!.DateTime)
                .Select(e => new Notification(
                    JsonNode.Parse(e.RequestMessage!.Body ?? "{}")!,
                    e.RequestMessage.Headers!.ToDictionary(h => h.Key, h => string.Join(",", h.Value), StringComparer.OrdinalIgnoreCase),
                    Status(e.ResponseMessage?.StatusCode)
                )),
        ];

    /// <summary>The event numbers that it acknowledged, in order.</summary>
    public IReadOnlyList<long> Numbers(string? path = null) =>
        [.. All(path).Where(n => n.Answered is >= 200 and < 300).SelectMany(n => n.Numbers)];

    /// <inheritdoc/>
    public void Dispose() => server.Dispose();

    private static int Status(object? code) =>
        code switch
        {
            int number => number,
            HttpStatusCode status => (int)status,
            string text => int.Parse(text, System.Globalization.CultureInfo.InvariantCulture),
            _ => 0,
        };
}

/// <summary>One notification as it came in.</summary>
/// <param name="Body">The Bundle.</param>
/// <param name="Headers">The header lines.</param>
/// <param name="Answered">The status it was answered with; 0 where it was not.</param>
internal sealed record Notification(JsonNode Body, IReadOnlyDictionary<string, string> Headers, int Answered)
{
    /// <summary><c>handshake</c>, <c>heartbeat</c> or <c>event-notification</c>.</summary>
    public string Kind => (string)Parameter("type")!["valueCode"]!;

    /// <summary>The status that the subscription had.</summary>
    public string Status => (string)Parameter("status")!["valueCode"]!;

    /// <summary>The numbers of the events in it.</summary>
    public IReadOnlyList<long> Numbers =>
        [
            .. Parameters
                .Where(p => (string)p["name"]! == "notification-event")
                .Select(e =>
                    long.Parse(
                        (string)e["part"]!.AsArray().Single(p => (string)p!["name"]! == "event-number")!["valueString"]!,
                        System.Globalization.CultureInfo.InvariantCulture
                    )
                ),
        ];

    /// <summary>The resources in it.</summary>
    public IReadOnlyList<JsonNode> Resources => [.. Body["entry"]!.AsArray().Skip(1).Select(e => e!["resource"]).OfType<JsonNode>()];

    /// <summary>The addresses of the resources that it is about.</summary>
    public IReadOnlyList<string> Addresses => [.. Body["entry"]!.AsArray().Skip(1).Select(e => (string)e!["fullUrl"]!)];

    private JsonNode? Parameter(string name) => Parameters.SingleOrDefault(p => (string)p["name"]! == name);

    private IEnumerable<JsonNode> Parameters => Body["entry"]![0]!["resource"]!["parameter"]!.AsArray().OfType<JsonNode>();
}
