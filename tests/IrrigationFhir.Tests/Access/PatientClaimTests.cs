using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Access;
using IrrigationFhir.Search;
using Microsoft.Extensions.Configuration;

namespace IrrigationFhir.Tests.Access;

/// <summary>
/// Scopes of one patient (R-ACC-07): nothing, unless a setting says which claim of a token names the patient; then everything is cut to
/// that one in the store's own query.
/// </summary>
public class PatientClaimTests
{
    private const string System = RunningService.PatientSystem;

    private static readonly (string, string)[] Settings = [("Access:PatientClaim", "patient"), ("Access:PatientSystem", System)];

    [Fact]
    public async Task What_is_about_the_patient_of_the_token_is_shown_and_nothing_else()
    {
        await using var site = await IssuerTests.Site.Start(Settings);
        var (mine, other) = (await Night(site, "P-1"), await Night(site, "P-2"));
        var token = Token(site, "patient/*.rs", "P-1");
        foreach (
            var address in new[]
            {
                "/fhir/Observation?_count=1000",
                "/fhir/Observation?_include=Observation:part-of&_revinclude=Provenance:target&_count=1000",
                "/fhir/Observation/_history?_count=1000",
                "/fhir/Procedure",
                $"/fhir/Observation/$lastn?patient.identifier={System}|P-1&category=exam",
                $"/fhir/Patient/$everything?identifier={System}|P-1",
            }
        )
        {
            var shown = await Ask(site, "GET", address, token);
            Assert.True(shown.Status == HttpStatusCode.OK, $"{address}: {shown.Text}");
            Assert.True(shown.Text.Contains(mine, StringComparison.Ordinal), $"{address}: {shown.Text}");
            Assert.DoesNotContain(other, shown.Text, StringComparison.Ordinal);
        }

        foreach (var (episode, status) in new[] { (mine, HttpStatusCode.OK), (other, HttpStatusCode.NotFound) })
        {
            Assert.Equal(status, (await Ask(site, "GET", $"/fhir/Procedure/{episode}.bladder-irrigation", token)).Status);
            Assert.Equal(status, (await Ask(site, "GET", $"/fhir/Procedure/{episode}.bladder-irrigation/_history", token)).Status);
            Assert.Equal(status, (await Ask(site, "GET", $"/fhir/Procedure/{episode}.bladder-irrigation/_history/1", token)).Status);
        }

        // Of the other there is nothing, as of nobody.
        var (hidden, absent) = (
            await Ask(site, "GET", $"/fhir/Patient/$everything?identifier={System}|P-2", token),
            await Ask(site, "GET", $"/fhir/Patient/$everything?identifier={System}|P-77", token)
        );
        Assert.Equal((absent.Status, absent.Text), (hidden.Status, hidden.Text));

        // What rests on all that is known of an episode asks for the whole of a type.
        foreach (var view in new[] { "balance", "record", "handover", "entries" })
            Assert.Equal(HttpStatusCode.Forbidden, (await Ask(site, "GET", $"/episodes/{mine}/{view}", token)).Status);
    }

    [Fact]
    public async Task It_writes_of_its_patient_alone()
    {
        await using var site = await IssuerTests.Site.Start(Settings);
        await Night(site, "P-1");
        await Night(site, "P-2");
        var token = Token(site, "patient/Observation.c", "P-1");
        Assert.Equal(HttpStatusCode.Created, (await Ask(site, "POST", "/fhir/Observation", token, Observation("P-1"))).Status);
        Assert.Equal(HttpStatusCode.Forbidden, (await Ask(site, "POST", "/fhir/Observation", token, Observation("P-2"))).Status);
    }

    [Theory]
    [InlineData("P-1", "patient", System, "patient/Observation.rs", true)]
    [InlineData("P-1", "patient", System, "patient/Observation.read", true)]
    [InlineData("P-1", "patient", System, "patient/Flag.rs", false)]
    [InlineData("P-1", "patient", System, "patient/Observation.sr", false)]
    [InlineData("P-1", "patient", System, "user/Observation.rs", false)]
    [InlineData("P-1", "patient", System, "patient/Observation.rs?date=ge2020", false)]
    [InlineData($"{System}|P-1", "patient", null, "patient/Observation.rs", true)]
    [InlineData("P-1", "patient", null, "patient/Observation.rs", false)] // of which system?
    [InlineData("|P-1", "patient", null, "patient/Observation.rs", false)]
    [InlineData($"{System}|", "patient", null, "patient/Observation.rs", false)]
    [InlineData("", "patient", System, "patient/Observation.rs", false)]
    [InlineData(null, "patient", System, "patient/Observation.rs", false)]
    [InlineData("P-1", null, null, "patient/Observation.rs", false)]
    [InlineData("P-1", "sub_patient", System, "patient/Observation.rs", false)]
    public async Task Without_a_setting_or_without_a_patient_it_grants_nothing(
        string? claimed,
        string? claim,
        string? system,
        string scope,
        bool granted
    )
    {
        var settings = new[] { ("Access:PatientClaim", claim), ("Access:PatientSystem", system) }
            .Where(setting => setting.Item2 is not null)
            .Select(setting => (setting.Item1, setting.Item2!));
        await using var site = await IssuerTests.Site.Start([.. settings]);
        var reply = await Ask(site, "GET", "/fhir/Observation", Token(site, scope, claimed));
        Assert.Equal(granted ? HttpStatusCode.OK : HttpStatusCode.Forbidden, reply.Status);
    }

    [Fact]
    public void Whatever_stands_in_an_identifier_stands_for_itself()
    {
        const string value = @"a|b,c$d\e?f&g=h %20";
        var scope = Scope.ReadAll("patient/Observation.rs", new(System, value)).Single();
        var kept = Scope.Parse(scope.ToString())!;
        Assert.Equal(scope.Query, kept.Query);
        var within = (SearchCriterion.AnyOf)Reach.Of([kept], "Observation", Letters.Read)!.Single();
        var subject = (SearchCriterion.Subject)within.Alternatives.Single().Single();
        Assert.Equal(new ReferenceTest.Identifier(new(System, value)), subject.Tests.Single());
    }

    [Theory]
    [InlineData("own", "patient", null, "Access:PatientClaim")]
    [InlineData("tokens", null, System, "Access:PatientSystem")]
    [InlineData("tokens", "patient", "no uri", "Access:PatientSystem")]
    public void Settings_that_say_nothing_together_are_refused(string mode, string? claim, string? system, string named)
    {
        var settings = new ConfigurationBuilder()
            .AddInMemoryCollection(
                new Dictionary<string, string?>
                {
                    ["Access:Mode"] = mode,
                    ["Access:PatientClaim"] = claim,
                    ["Access:PatientSystem"] = system,
                }
            )
            .Build();
        Assert.Contains($"{named}: ", Assert.Throws<SettingsFault>(() => AccessSettings.Read(settings)).Message, StringComparison.Ordinal);
    }

    private static string Token(IssuerTests.Site site, string scope, string? patient)
    {
        var claims = site.Claims();
        claims["scope"] = scope;
        if (patient is not null)
            claims["patient"] = patient;
        return site.Signer.Signed(site.Signer.Header(typ: "at+jwt"), claims);
    }

    /// <summary>An episode with a reading; answers its id.</summary>
    private static async Task<string> Night(IssuerTests.Site site, string patient)
    {
        var all = Token(site, "system/*.cruds", null);
        var opened = await Ask(
            site,
            "POST",
            "/episodes",
            all,
            RunningService.Episode($"of {patient}", "2026-03-02T06:00:00Z", null, patient)
        );
        Assert.True(opened.Status == HttpStatusCode.Created, opened.Text);
        var created = await Ask(site, "POST", "/fhir/Observation", all, Observation(patient));
        Assert.True(created.Status == HttpStatusCode.Created, created.Text);
        return (string)opened.Json["id"]!;
    }

    private static JsonObject Observation(string patient)
    {
        var observation = GateTests.Ward.Observation(Guid.NewGuid().ToString());
        observation["subject"]!["identifier"]!["value"] = patient;
        observation["effectiveDateTime"] = "2026-03-02T07:00:00Z";
        return observation;
    }

    private static async Task<Reply> Ask(IssuerTests.Site site, string method, string address, string token, JsonObject? body = null)
    {
        using var request = new HttpRequestMessage(new(method), new Uri(address, UriKind.Relative));
        request.Headers.TryAddWithoutValidation("Authorization", $"Bearer {token}");
        if (body is not null)
            request.Content = new StringContent(body.ToJsonString(), Encoding.UTF8, "application/json");
        using var response = await site.Ward.Http.SendAsync(request);
        return await Reply.Of(response);
    }
}
