using System.IO.Compression;
using System.Net;
using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Analytics;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>A process is killed (SIGKILL) over an export: begun again it is complete, and at no time is half a file to be seen.</summary>
public class KilledExportTests
{
    private const int Kills = 4;

    [Fact]
    public async Task The_command_goes_on_where_it_was_to_the_same_bytes()
    {
        var folder = Directory.CreateTempSubdirectory("killed-export-").FullName;
        await Fill(folder);
        var (whole, broken) = (Path.Combine(folder, "whole"), Path.Combine(folder, "broken"));
        string[] Order(string to) => ["export", to, "--format", "ndjson", $"--Data:Folder={folder}/data"];
        var (code, _, errors) = await ProgramProcess.Run(folder, Order(whole));
        Assert.True(code == 0, errors);

        var killed = 0;
        for (var kill = 0; kill < Kills && !File.Exists(Path.Combine(broken, ExportFolder.ManifestName)); kill++)
        {
            var before = Directory.Exists(broken) ? Directory.GetFiles(broken).Length : 0;
            await using (var program = ProgramProcess.Begin(folder, Order(broken)))
            {
                // Somewhere after its first files.
                for (var i = 0; i < 2000 && (!Directory.Exists(broken) || Directory.GetFiles(broken).Length <= before + kill); i++)
                    await Task.Delay(5);
            }

            if (File.Exists(Path.Combine(broken, ExportFolder.ManifestName)))
                break; // it was quicker
            killed++;
            foreach (var file in Directory.GetFiles(broken, "*.ndjson"))
                Assert.Equal(await File.ReadAllBytesAsync(Path.Combine(whole, Path.GetFileName(file))), await File.ReadAllBytesAsync(file));
        }

        Assert.True(killed > 0, "it was over before it was killed");
        if (!File.Exists(Path.Combine(broken, ExportFolder.ManifestName)))
            Assert.Equal(0, (await ProgramProcess.Run(folder, Order(broken))).Code);
        Assert.Equal(Names(whole), Names(broken));
        foreach (var name in Names(whole))
            Assert.Equal(
                await File.ReadAllBytesAsync(Path.Combine(whole, name!)),
                await File.ReadAllBytesAsync(Path.Combine(broken, name!))
            );
        Directory.Delete(folder, recursive: true);

        static IEnumerable<string?> Names(string of) => Directory.GetFiles(of).Select(Path.GetFileName).Order();
    }

    [Fact]
    public async Task The_service_begins_it_anew_as_of_the_same_moment()
    {
        var folder = Directory.CreateTempSubdirectory("killed-export-").FullName;
        await Fill(folder);
        string status,
            files;
        await using (var service = await ProgramProcess.Serve(folder))
        {
            using var request = new HttpRequestMessage(HttpMethod.Get, new Uri("/fhir/$export", UriKind.Relative));
            request.Headers.Add("Prefer", "respond-async");
            using var asked = await service.Http.SendAsync(request);
            Assert.Equal(HttpStatusCode.Accepted, asked.StatusCode);
            status = asked.Content.Headers.ContentLocation!.AbsolutePath;
            files = Path.Combine(folder, "data", "exports", status.Split('/')[^1]);
            for (var i = 0; i < 5000 && !(Directory.Exists(files) && Directory.GetFiles(files, "*.unfinished").Length > 0); i++)
                await Task.Delay(1);
        }

        Assert.NotEmpty(Directory.GetFiles(files, "*.unfinished"));
        foreach (var file in Directory.GetFiles(files, "*.ndjson"))
            Assert.EndsWith("\n", Unpacked(file), StringComparison.Ordinal);

        // Another takes it over when nobody has been heard of for the length of a lease.
        var later = SystemClock.Instance.GetCurrentInstant() + RunExports.Lease + Duration.FromMinutes(1);
        await using var other = RunningService.Start(InstantPattern.ExtendedIso.Format(later), Path.Combine(folder, "data"));
        var reply = await other.Get(status);
        for (var i = 0; i < 600 && reply.Status == HttpStatusCode.Accepted; i++)
        {
            await Task.Delay(100);
            reply = await other.Get(status);
        }

        Assert.True(reply.Status == HttpStatusCode.OK, reply.Text);
        Assert.Empty(Directory.GetFiles(files, "*.unfinished"));
        var fence = InstantPattern.ExtendedIso.Parse((string)reply.Json["transactionTime"]!).Value;
        foreach (var output in reply.Json["output"]!.AsArray())
        {
            var held = new StringBuilder();
            var scan = new ResourceScan(() => Dialect.OpenForReading(other.Folder));
            await foreach (var page in scan.Read(new((string)output!["type"]!, fence), CancellationToken.None))
            {
                foreach (var resource in page.Resources)
                    held.Append(Encoding.UTF8.GetString(resource.Json.Span)).Append('\n');
            }

            Assert.Equal(held.ToString(), (await other.Get(new Uri((string)output["url"]!).PathAndQuery)).Text);
        }

        Assert.Contains(reply.Json["output"]!.AsArray(), output => (int)output!["count"]! > 1000);
    }

    /// <summary>A store on which an export takes longer than to kill it.</summary>
    private static async Task Fill(string folder)
    {
        await using var ward = RunningService.Start("2026-03-25T00:00:00Z", Path.Combine(folder, "data"));
        var begin = Instant.FromUtc(2026, 3, 15, 0, 0);
        var id = await ward.Open(RunningService.Episode("long", "2026-03-15T00:00:00Z"));
        await ward.Record(
            id,
            [
                .. Enumerable
                    .Range(1, 600)
                    .Select(n =>
                        JsonNode.Parse(
                            $$"""
                                {"source": "w", "id": "{{n}}", "kind": "drainage-emptied", "volume": {"value": {{50
                                    + (n % 30)}}, "unit": "mL"},
                                 "at": "{{InstantPattern.General.Format(begin + Duration.FromMinutes(15 * n))}}"}
                                """
                        )!
                    ),
            ]
        );
    }

    private static string Unpacked(string file)
    {
        using var zip = new GZipStream(File.OpenRead(file), CompressionMode.Decompress);
        using var reader = new StreamReader(zip);
        return reader.ReadToEnd();
    }
}
