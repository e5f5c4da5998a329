using IrrigationFhir.Search;
using IrrigationFhir.Tests.Entries;
using Microsoft.AspNetCore.Http.Extensions;
using Microsoft.AspNetCore.Routing;
using Microsoft.Extensions.DependencyInjection;

namespace IrrigationFhir.Tests.Fuzz;

/// <summary>
/// Spoilt addresses and queries against every address that is read, as the service itself lists them: parameters that exist with values
/// at the edges of time and number, and some that do not exist. Whatever comes is answered, and nothing fails.
/// </summary>
public class QueryFuzzTests
{
    private const int Queries = 3000;

    private static readonly string[] Values =
    [
        "0",
        "-1",
        "1",
        "99999999999999999999",
        "1e400",
        "-0",
        "1e-28",
        "79228162514264337593543950335",
        "0.00000000000000000000000000001||mL",
        "gt5||mL",
        "ap1e28||mL",
        "9999-12-31T23:59:59Z",
        "9999-12-31T23:59:59-18:00",
        "0001-01-01",
        "gt9999",
        "ap2026",
        "sa0000-01-01",
        "2026-02-30",
        "2026-03-14T24:00:00Z",
        "2026-03-14T09:00",
        "|",
        "||",
        "a|",
        "|a",
        "a|b|c",
        "a$b",
        "a$",
        "$",
        ",",
        ",,,",
        "\\",
        "\\,",
        "%",
        "'",
        "\"",
        "\u0001",
        "\u00e9",
        "\ud83d\ude00",
        "*",
        "true",
        "text",
        "count",
        "json",
        "Observation:subject",
        "Observation:*",
        "_id",
        "-date",
        "date,-date,_id",
        "active",
        "final",
        "http://loinc.org|9192-6",
        "mL",
        "patient",
        "Patient/1",
        "urn:uuid:x",
    ];

    private static readonly string[] Names =
    [
        "asOf",
        "_count",
        "_sort",
        "_since",
        "_at",
        "_summary",
        "_elements",
        "_include",
        "_revinclude",
        "_total",
        "_format",
        "_pretty",
        "_page",
        "max",
        "identifier",
        "patient.identifier",
        "eventsSinceNumber",
        "eventsUntilNumber",
        "content",
        "status",
        "nothing",
        "_has:x",
        "code:in",
        "",
    ];

    [Fact]
    public async Task Whatever_is_asked_the_service_answers()
    {
        await using var ward = RunningService.Start("2026-03-14T22:00:00Z");
        var episode = await ward.Open(RunningService.Episode("stay", "2026-03-14T08:00:00Z"));
        await ward.Record(episode, Charted.AnHour());
        var observation = (await ward.Resources(episode, "Observation")).Keys.First().Split('/')[1];
        var routes = ward
            .Services.GetRequiredService<EndpointDataSource>()
            .Endpoints.OfType<RouteEndpoint>()
            .Where(e => e.Metadata.GetMetadata<IHttpMethodMetadata>()?.HttpMethods.Contains("GET") == true)
            .Select(e => "/" + e.RoutePattern.RawText!.Trim('/'))
            .Distinct()
            .Order(StringComparer.Ordinal)
            .ToList();
        Assert.True(routes.Count > 20, $"{routes.Count} routes");
        string[] parameters =
        [
            .. IndexedTypes.All.SelectMany(type => type.Parameters).Select(parameter => parameter.Name).Distinct(),
            .. Names,
        ];

        var (failed, answered) = (new List<string>(), new Dictionary<int, int>());
        for (var number = 0; number < Queries; number++)
        {
            var chance = new Random(unchecked((number * 1_000_003) + FuzzTests.Seed));
            var route = routes[number % routes.Count];
            var id =
                chance.Next(8) == 0 ? Uri.EscapeDataString(Values[chance.Next(Values.Length)])
                : route.StartsWith("/episodes", StringComparison.Ordinal) ? episode
                : observation;
            var version = Uri.EscapeDataString(Values[chance.Next(Values.Length)]);
            var path = route.Replace("{id}", id, StringComparison.Ordinal).Replace("{version}", version, StringComparison.Ordinal);
            var query = new QueryBuilder();
            for (var left = chance.Next(0, 4); left > 0; left--)
            {
                var modifier =
                    chance.Next(6) == 0 ? ":exact"
                    : chance.Next(6) == 0 ? ":missing"
                    : "";
                query.Add(parameters[chance.Next(parameters.Length)] + modifier, Values[chance.Next(Values.Length)]);
            }

            var address = path + query;
            var status = (int)(await ward.Get(address)).Status;
            answered[status] = answered.GetValueOrDefault(status) + 1;
            if (status >= 500)
                failed.Add($"{number}: {status} {address}");
        }

        Assert.True(failed.Count == 0, $"{failed.Count} with seed {FuzzTests.Seed}:\n{string.Join('\n', failed.Take(30))}");
        var bothMet = answered.GetValueOrDefault(200) > Queries / 10 && answered.GetValueOrDefault(400) > Queries / 10;
        Assert.True(bothMet, string.Join(", ", answered));
    }
}
