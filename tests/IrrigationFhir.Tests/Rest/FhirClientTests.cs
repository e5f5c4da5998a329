using System.Net;
using Hl7.Fhir.Model;
using Hl7.Fhir.Rest;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Rest;

/// <summary>
/// The whole loop with a client that nobody here wrote: the SDK's own <see cref="FhirClient"/>, with its settings as they come but for a
/// strict parser. Another, in JavaScript, is <c>tests/clients.sh</c>.
/// </summary>
[Collection(EveningOnTheWard.Name)]
public class FhirClientTests(EveningOnTheWard evening)
{
    private const string Readings = "https://gateway.example/readings";

    [Fact]
    public async Task A_client_of_the_SDK_creates_corrects_searches_and_withdraws()
    {
        var irrigation = evening.NewIdentifier();
        var episode = await evening.Service.Open(RunningService.Episode(irrigation, "2026-03-14T08:00:00Z"));
        using var client = new FhirClient(
            new Uri(evening.Service.Http.BaseAddress!, "fhir"),
            evening.Service.Http,
            new()
            {
                PreferredFormat = ResourceFormat.Json,
                VerifyFhirVersion = true,
                ReturnPreference = ReturnPreference.Representation,
            }
        );
        Assert.Equal(FHIRVersion.N4_0_1, (await client.CapabilityStatementAsync())!.FhirVersion);

        // Checked, created, and once more unless it is there.
        var first = Reading(irrigation, "drainage-emptied", "08:05", 100);
        Assert.True((await client.ValidateResourceAsync(first))!.Success);
        var created = (await client.CreateAsync(first))!;
        Assert.Equal(("1", "100"), (created.Meta!.VersionId, Value(created)));
        var again = await client.ConditionalCreateAsync(first, new SearchParams("identifier", $"{Readings}|{first.Identifier[0].Value}"));
        Assert.Equal(created.Id, again!.Id);

        // 500 mL in, 570 mL out; then 580, not over what somebody else corrected meanwhile.
        var taken = (
            await client.TransactionAsync(
                new Bundle
                {
                    Type = Bundle.BundleType.Transaction,
                    Entry =
                    [
                        Posted(Reading(irrigation, "irrigant-instilled", "08:30", 500, since: "08:10")),
                        Posted(Reading(irrigation, "drainage-emptied", "09:00", 570)),
                    ],
                }
            )
        )!;
        Assert.All(taken.Entry, entry => Assert.StartsWith("201", entry.Response!.Status, StringComparison.Ordinal));
        var drained = (await client.ReadAsync<Observation>(taken.Entry[1].Response!.Location!))!;
        drained.Status = ObservationStatus.Corrected;
        ((Quantity)drained.Value!).Value = 580;
        var corrected = (await client.UpdateAsync(drained, versionAware: true))!;
        Assert.Equal("2", corrected.Meta!.VersionId);
        ((Quantity)drained.Value).Value = 590;
        var late = await Assert.ThrowsAsync<FhirOperationException>(() => client.UpdateAsync(drained, versionAware: true));
        Assert.Equal((HttpStatusCode.PreconditionFailed, true), (late.Status, late.Outcome is not null));

        var versions = (await client.HistoryAsync($"Observation/{corrected.Id}"))!;
        Assert.Equal(["580", "570"], versions.Entry.Select(entry => Value(entry.Resource!)));
        Assert.Equal("570", Value((await client.ReadAsync<Observation>($"Observation/{corrected.Id}/_history/1"))!));

        // What was worked out: 580 - 500 = 80 mL, found by the irrigation, in pages of one.
        var whole = Assert.Single(await Found(client, "Procedure", $"identifier={RunningService.EpisodeSystem}|{irrigation}"));
        var outputs = await Found(
            client,
            "Observation",
            $"part-of=Procedure/{whole.Id}",
            $"_profile={Ours.Profiles.CorrectedUrineOutput}",
            "_count=1"
        );
        Assert.Contains("80", outputs.Select(Value));
        Assert.Equal(outputs.Count, outputs.Select(found => found.Id).Distinct().Count());
        var latest = await client.TypeOperationAsync<Observation>(
            "lastn",
            new Parameters()
                .Add("subject:identifier", new FhirString($"{RunningService.PatientSystem}|patient of {irrigation}"))
                .Add("code", new FhirString($"{Ours.Profiles.CodeSystem("entry-kind")}|drainage-emptied")),
            useGet: true
        );
        Assert.Equal("580", Value(Assert.Single(Assert.IsType<Bundle>(latest).Entry).Resource!));

        // Withdrawn; nothing is deleted.
        corrected.Status = ObservationStatus.EnteredInError;
        Assert.Equal(ObservationStatus.EnteredInError, (await client.UpdateAsync(corrected))!.Status);
        var kept = await Assert.ThrowsAsync<FhirOperationException>(() => client.DeleteAsync($"Observation/{corrected.Id}"));
        Assert.Equal((HttpStatusCode.MethodNotAllowed, true), (kept.Status, kept.Outcome is not null));
        Assert.Equal("100", Value((await client.ReadAsync<Observation>($"Observation/{created.Id}"))!));
        var withdrawn = await evening.Service.Read($"/episodes/{episode}/balance");
        Assert.Null(withdrawn["total"]?["correctedOutput"]?["value"]);
    }

    private static Observation Reading(string irrigation, string kind, string clock, decimal millilitres, string? since = null) =>
        new()
        {
            Identifier = [new(Readings, $"{irrigation}-{kind}-{clock}")],
            Status = ObservationStatus.Final,
            Code = new(Ours.Profiles.CodeSystem("entry-kind"), kind),
            Subject = new() { Identifier = new(RunningService.PatientSystem, $"patient of {irrigation}") },
            Effective = since is null ? new FhirDateTime(At(clock)) : new Period { Start = At(since), End = At(clock) },
            Value = new Quantity(millilitres, "mL"),
        };

    private static string At(string clock) => $"2026-03-14T{clock}:00Z";

    private static Bundle.EntryComponent Posted(Observation reading) =>
        new()
        {
            Resource = reading,
            Request = new() { Method = Bundle.HTTPVerb.POST, Url = "Observation" },
        };

    private static string Value(Resource resource) => FormattableString.Invariant($"{(((Observation)resource).Value as Quantity)?.Value}");

    /// <summary>All pages.</summary>
    private static async Task<List<Resource>> Found(FhirClient client, string type, params string[] criteria)
    {
        var found = new List<Resource>();
        for (var page = await client.SearchAsync(type, criteria); page is not null; page = await client.ContinueAsync(page))
            found.AddRange(page.Entry.Select(entry => entry.Resource!));
        return found;
    }
}
