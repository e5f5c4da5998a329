using System.Net.Sockets;
using System.Text;

namespace IrrigationFhir.Tests.Rest;

/// <summary>The log of the running program, with everything turned up that an operator can turn up.</summary>
public class RequestLoggingTests
{
    [Theory]
    [InlineData("simple", "Debug")]
    [InlineData("json", "Trace")]
    public async Task However_far_the_log_is_turned_up_nothing_of_a_request_is_in_it(string formatter, string level)
    {
        var folder = Directory.CreateTempSubdirectory("logging-").FullName;
        await using (
            var service = await ProgramProcess.Serve(
                folder,
                $"--Logging:LogLevel:Default={level}",
                $"--Logging:LogLevel:Microsoft.AspNetCore={level}",
                $"--Logging:LogLevel:Microsoft.AspNetCore.Hosting.Diagnostics={level}",
                $"--Logging:Console:LogLevel:Default={level}",
                $"--Logging:Console:LogLevel:Microsoft.AspNetCore.Server.Kestrel.BadRequests={level}",
                $"--Logging:Console:FormatterName={formatter}",
                "--Logging:Console:FormatterOptions:IncludeScopes=true",
                "--environment=Development"
            )
        )
        {
            foreach (
                var address in new[]
                {
                    "/episodes/planted-episode/balance?asOf=planted-time",
                    "/episodes/planted-episode/entries",
                    "/fhir/Observation/planted-resource/_history/planted-version",
                    "/fhir/Observation?patient.identifier=planted-system|planted-patient",
                    "/planted-nowhere?planted=planted",
                }
            )
            {
                using var got = await service.Http.GetAsync(new Uri(address, UriKind.Relative));
                using var body = new StringContent("""{"planted": "planted-body"}""", Encoding.UTF8, "application/json");
                using var posted = await service.Http.PostAsync(new Uri(address, UriKind.Relative), body);
            }

            using (var foreign = new HttpRequestMessage(HttpMethod.Get, "/fhir/metadata"))
            {
                foreign.Headers.Host = "planted-host.example";
                using var refused = await service.Http.SendAsync(foreign);
            }

            foreach (
                var line in new[]
                {
                    "GET /planted-path HTTP/9.9",
                    "planted-method\t/planted-path",
                    "GET /planted path HTTP/1.1",
                    "GET /planted-path HTTP/1.1\r\nplanted-header",
                    "GET /%00planted HTTP/1.1\r\nHost: localhost",
                }
            )
            {
                using var client = new TcpClient();
                await client.ConnectAsync("127.0.0.1", service.Http.BaseAddress!.Port);
                await client.GetStream().WriteAsync(Encoding.ASCII.GetBytes($"{line}\r\n\r\n"));
                using var patience = new CancellationTokenSource(TimeSpan.FromSeconds(5));
                try
                {
                    while (await client.GetStream().ReadAsync(new byte[4096], patience.Token) > 0) { }
                }
                catch (Exception gone) when (gone is IOException or OperationCanceledException)
                {
                    // The server closes it, one way or another.
                }
            }

            await Task.Delay(500); // for the console's queue
            Assert.Contains("Microsoft.Hosting.Lifetime", service.Said, StringComparison.Ordinal);
            var turnedUp = formatter == "json" ? "\"LogLevel\":\"Debug\"" : "dbug: ";
            Assert.Contains(turnedUp, service.Said, StringComparison.Ordinal);
            var told = service.Said.Split('\n').Where(line => line.Contains("planted", StringComparison.OrdinalIgnoreCase)).ToList();
            Assert.True(told.Count == 0, string.Join('\n', told));
        }

        Directory.Delete(folder, recursive: true);
    }
}
