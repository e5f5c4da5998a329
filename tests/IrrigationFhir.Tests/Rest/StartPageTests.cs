using System.Diagnostics;
using System.Net;
using System.Text.RegularExpressions;

namespace IrrigationFhir.Tests.Rest;

/// <summary>What somebody new meets first: the start page, and the reference of both contracts.</summary>
[Collection(EveningOnTheWard.Name)]
public partial class StartPageTests(EveningOnTheWard evening)
{
    private readonly RunningService _ward = evening.Service;

    [Fact]
    public async Task The_start_page_links_what_there_is_and_every_link_leads_somewhere()
    {
        var page = await _ward.Get("/");

        Assert.Equal((HttpStatusCode.OK, "text/html"), (page.Status, page.MediaType));
        var links = Link().Matches(page.Text).Select(m => WebUtility.HtmlDecode(m.Groups["to"].Value)).ToList();
        Assert.All(["docs/", "ward", "fhir/metadata", "openapi/fhir.json", "settings"], link => Assert.Contains(link, links));
        foreach (var link in links)
            Assert.True((await _ward.Get($"/{link}")).Status == HttpStatusCode.OK, link);
    }

    [Fact]
    public async Task The_reference_has_both_contracts_and_nothing_from_elsewhere()
    {
        using var response = await _ward.Http.GetAsync(new Uri("/docs/", UriKind.Relative));
        var page = await response.Content.ReadAsStringAsync();

        Assert.Equal(HttpStatusCode.OK, response.StatusCode);
        Assert.Contains("openapi/irrigationfhir.json", page, StringComparison.Ordinal);
        Assert.Contains("openapi/fhir.json", page, StringComparison.Ordinal);
        Assert.DoesNotMatch("(src|href)=\"(https?:)?//", page);
        Assert.DoesNotContain("cdn.", page, StringComparison.OrdinalIgnoreCase);
        var policy = Assert.Single(response.Headers.GetValues("Content-Security-Policy"));
        Assert.DoesNotContain("http", policy, StringComparison.Ordinal);
        foreach (var script in Script().Matches(page).Select(m => m.Groups["from"].Value))
            Assert.Equal(HttpStatusCode.OK, (await _ward.Get(new Uri(response.RequestMessage!.RequestUri!, script).ToString())).Status);
    }

    /// <summary>In a browser: the pages render what is in them, and no other host is asked.</summary>
    [SkippableTheory]
    [InlineData("/", "The ward now")]
    [InlineData("/docs/", "The log: every version of every entry")]
    [InlineData("/docs/fhir", "A batch, whose entries stand or fall alone")]
    public async Task A_browser_shows_it_and_asks_nobody_else(string address, string shows)
    {
        var browser = Browser();
        Skip.If(browser is null, "no chromium on this machine: the pages were not looked at in a browser");
        var folder = Directory.CreateTempSubdirectory("browser-").FullName;
        var log = Path.Combine(folder, "net.json");
        using var looking = Process.Start(
            new ProcessStartInfo(browser)
            {
                ArgumentList =
                {
                    "--headless",
                    "--no-sandbox",
                    "--disable-gpu",
                    "--disable-dev-shm-usage",
                    "--disable-background-networking",
                    "--disable-component-update",
                    "--no-first-run",
                    $"--user-data-dir={folder}",
                    $"--log-net-log={log}",
                    "--virtual-time-budget=20000",
                    "--timeout=60000",
                    "--dump-dom",
                    new Uri(_ward.Http.BaseAddress!, address).ToString(),
                },
                RedirectStandardOutput = true,
                RedirectStandardError = true,
            }
        )!;
        var errors = looking.StandardError.ReadToEndAsync();
        var shown = await looking.StandardOutput.ReadToEndAsync();
        await looking.WaitForExitAsync();
        Assert.True(shown.Contains(shows, StringComparison.Ordinal), $"{shown.Length} characters without '{shows}'; {await errors}");

        // Of what the page asked for, as the browser's own log of the network has it.
        var asked = Url().Matches(await File.ReadAllTextAsync(log)).Select(m => m.Groups["host"].Value).Distinct().ToList();
        Assert.Contains(_ward.Http.BaseAddress!.Authority, asked);
        Assert.DoesNotContain(asked, host => host.Contains("scalar", StringComparison.OrdinalIgnoreCase));
        Assert.DoesNotContain(asked, host => host.Contains("jsdelivr", StringComparison.OrdinalIgnoreCase));
        await RunningService.Remove(folder);
    }

    private static string? Browser() =>
        (Environment.GetEnvironmentVariable("PATH") ?? "")
            .Split(Path.PathSeparator)
            .SelectMany(folder => new[] { "chromium", "chromium-browser" }.Select(name => Path.Combine(folder, name)))
            .FirstOrDefault(File.Exists);

    [GeneratedRegex("<a href=\"(?<to>[^\"]+)\"", RegexOptions.ExplicitCapture)]
    private static partial Regex Link();

    [GeneratedRegex("<script[^>]* src=\"(?<from>[^\"]+)\"", RegexOptions.ExplicitCapture)]
    private static partial Regex Script();

    [GeneratedRegex("\"url\":\"https?://(?<host>[^/\"]+)", RegexOptions.ExplicitCapture)]
    private static partial Regex Url();
}
