using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Intake;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using IrrigationFhir.Subscriptions;

namespace IrrigationFhir.Tests.Repository;

/// <summary>The pages, one for each reader, executed.</summary>
public sealed partial class ReadmeTests : IDisposable
{
    private const string Program = "dotnet run --project src/IrrigationFhir";
    private const string Demo = $"{Program} -- demo";
    private const string Tests = "dotnet test";
    private const string Served = "http://localhost:5000";
    private const string Integrators = "fhir-examples/README.md";
    private const string Operators = "src/IrrigationFhir/README.md";
    private const string Analysts = "fhir-examples/analytics/README.md";

    private static readonly string[] Pages = ["README.md", Integrators, Operators, Analysts, "src/Irrigation/README.md", "DEVELOPERS.md"];
    private static readonly string Readme = Repo.Read("README.md");
    private static readonly string[] Blocks = BlocksOf(Readme);

    private readonly string folder = Directory.CreateTempSubdirectory("pages-").FullName;

    public void Dispose() => Directory.Delete(folder, recursive: true);

    [Fact]
    public void The_first_two_commands_are_the_demo_and_the_tests_and_nothing_has_to_be_installed_before()
    {
        Assert.Equal([Demo, Tests], Blocks.Take(2));
        Assert.Contains("dotnet test 2>&1", Repo.Read(".ci/run"), StringComparison.Ordinal);
    }

    [Fact]
    public void The_first_page_is_short() => Assert.InRange(Readme.Split('\n').Length, 60, 150);

    [Theory]
    [InlineData("README.md")]
    [InlineData(Integrators)]
    [InlineData(Operators)]
    [InlineData("src/Irrigation/README.md")]
    [InlineData("DEVELOPERS.md")]
    public void Every_project_script_and_file_that_a_text_names_is_there(string text)
    {
        var named = BlocksOf(Repo.Read(text))
            .SelectMany(block => NamedPath().Matches(block))
            .Select(m => m.Groups[1].Value)
            .Concat(QuotedPath().Matches(Repo.Read(text)).Select(m => m.Groups[1].Value))
            .Distinct()
            .ToList();
        Assert.NotEmpty(named);
        Assert.All(named, path => Assert.True(Path.Exists(Repo.PathOf(path)), $"{text} names {path}"));
    }

    [Theory]
    [InlineData("README.md")]
    [InlineData(Integrators)]
    [InlineData(Operators)]
    [InlineData(Analysts)]
    public void Every_page_that_a_text_links_to_is_there(string text)
    {
        var links = Link().Matches(Repo.Read(text)).Select(m => m.Groups[1].Value).ToList();
        Assert.NotEmpty(links);
        var folderOf = Path.GetDirectoryName(Repo.PathOf(text))!;
        Assert.All(links, link => Assert.True(File.Exists(Path.Combine(folderOf, link)), $"{text} links to {link}"));
    }

    [SkippableFact]
    public async Task Every_curl_command_of_the_first_page_does_what_it_says()
    {
        Skip.IfNot(Shell.IsThere, Shell.Absent);
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var replies = await Replies(Blocks, ward, commands: 7);
        Recorded(replies);
        Night(replies, balance: 4, outputs: 5, shift: 410);
        Assert.Contains("−530 mL", Readme, StringComparison.Ordinal);
        Assert.Contains("42.8 mL", Readme, StringComparison.Ordinal);
    }

    [SkippableFact]
    public async Task Every_curl_command_for_integrators_does_what_it_says()
    {
        Skip.IfNot(Shell.IsThere, Shell.Absent);
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var replies = await Replies(BlocksOf(Repo.Read(Integrators)), ward, commands: 15);
        Recorded(replies);
        Assert.Equal("negative", (string)replies[4]["issue"]![0]!["details"]!["coding"]![0]!["code"]!);
        Assert.Equal(("Observation", 35m), ((string)replies[5]["resourceType"]!, (decimal)replies[5]["valueQuantity"]!["value"]!));
        Night(replies, balance: 6, outputs: 7, shift: 425); // and the scan says 35 mL where 20 were before
        Assert.All(Entries(replies[8]), found => Assert.True((decimal)found["valueQuantity"]!["value"]! > 1000));
        Assert.NotEmpty(Entries(replies[8]));
        Assert.Single(Entries(replies[9]));
        Assert.Single(Entries(replies[10]));
        Assert.NotEmpty(replies[11]["undecided"]!.AsArray());
        Assert.False((bool)replies[12]["complete"]!);
        Assert.All(Entries(replies[13]), flag => Assert.Equal("Flag", (string)flag["resourceType"]!));
    }

    [Fact]
    public async Task Every_command_of_the_program_on_any_page_does_its_work()
    {
        var commands = Pages
            .SelectMany(page => BlocksOf(Repo.Read(page)))
            .SelectMany(block => block.Split('\n'))
            .Where(line => line.StartsWith(Program, StringComparison.Ordinal))
            .Select(line => line[Program.Length..].Replace(" -- ", " ", StringComparison.Ordinal).Trim())
            .Distinct()
            .ToList();
        string[] known =
        [
            "",
            "demo",
            "compute fhir-examples/a-night/log.json",
            "drip-rate --volume=1000mL --time=12h --dropFactor=15 --counted=20",
            "settings",
            "--Subscriptions:AllowLoopback=true",
            $"health {Served}",
            "backup /backups/irrigation-2026-03-15.db",
            "restore --check /backups/irrigation-2026-03-15.db",
            "restore /backups/irrigation-2026-03-15.db",
            "export tables",
            "audit --check",
        ];
        Assert.Equal(known.Order(StringComparer.Ordinal), commands.Order(StringComparer.Ordinal));

        var demo = (await Done("demo", "--once")).Output;
        Assert.Contains("42.8  corrected", demo, StringComparison.Ordinal);
        var day = await Done("demo", "--once", "--story", "day");
        Assert.Contains("Return is short", day.Output, StringComparison.Ordinal);
        var list = Readme[Readme.IndexOf("all wards, ", StringComparison.Ordinal)..];
        Assert.Contains(
            list[..list.IndexOf("```", StringComparison.Ordinal)].ReplaceLineEndings(),
            demo.ReplaceLineEndings(),
            StringComparison.Ordinal
        );
        Assert.Contains(
            "42.8 mL",
            (await Done(["compute", Repo.PathOf("fhir-examples/a-night/log.json")])).Output,
            StringComparison.Ordinal
        );
        var drip = await Done("drip-rate", "--volume=1000mL", "--time=12h", "--dropFactor=15", "--counted=20");
        Assert.Contains(drip.Output.Split('\n')[0], Readme, StringComparison.Ordinal);
        Assert.Contains("Flags:DeficitWarning = 200 mL", (await Done("settings")).Output, StringComparison.Ordinal);

        // Served, asked, backed up; stopped, its folder moved away, and put back from the backup.
        var copy = Path.Combine(folder, "irrigation-2026-03-15.db");
        await using (var served = await ProgramProcess.Serve(folder, "--Subscriptions:AllowLoopback=true"))
        {
            var address = served.Http.BaseAddress!.ToString().TrimEnd('/');
            Assert.Equal("ready\n", (await Done("health", address)).Output);
            await Done("backup", copy);
            Assert.Contains("each as it was written and none missing", (await Done("audit", "--check")).Output, StringComparison.Ordinal);
            Assert.Contains("exported to tables, as of", (await Done("export", "tables")).Output, StringComparison.Ordinal);
            Assert.True(File.Exists(Path.Combine(folder, "tables", "output_hours-0001.parquet")));
            await served.Terminate();
        }

        await Done("restore", "--check", copy);
        Assert.Equal(1, (await ProgramProcess.Run(folder, "restore", copy)).Code);
        Directory.Move(Path.Combine(folder, "data"), Path.Combine(folder, "away"));
        await Done("restore", copy);
        await using var again = await ProgramProcess.Serve(folder);
        Assert.True((await again.Http.GetAsync(new Uri("/fhir/metadata", UriKind.Relative))).IsSuccessStatusCode);
    }

    [Fact]
    public void Every_command_that_is_not_run_here_can_be()
    {
        var others = Pages
            .SelectMany(page => BlocksOf(Repo.Read(page)))
            .SelectMany(block => block.Split('\n'))
            .Where(line => !line.StartsWith(Program, StringComparison.Ordinal) && !line.Contains("curl", StringComparison.Ordinal))
            .Distinct()
            .ToList();
        string[] elsewhere = // run by the tests of what they belong to
        [
            "cd fhir-examples/requests/one-observation", // RequestsTests
            $"export BASE={Served}",
            "sh 01-open-the-episode.sh",
            "sh 02-create.sh",
            $"dotnet run fhir-examples/subscriber/subscriber.cs -- {Served}/fhir", // ExampleSubscriberTests
            "docker build -t irrigationfhir .", // DockerfileTests
            .. others.Where(line => line.StartsWith("docker run ", StringComparison.Ordinal)),
        ];
        var left = others.Except(elsewhere).ToList();
        Assert.All(left, line => Assert.Matches(@"^(?:\w+=\w+ )*(?:dotnet (?:test|run)\b|\.ci/)", line));

        // A filter that finds no test would end well.
        var names = typeof(ReadmeTests).Assembly.GetTypes().Select(type => type.FullName!).ToList();
        var filters = Pages.SelectMany(page => Filter().Matches(Repo.Read(page))).Select(m => m.Groups[1].Value).ToList();
        Assert.NotEmpty(filters);
        Assert.All(filters, filter => Assert.Contains(names, name => name.Contains(filter, StringComparison.Ordinal)));
    }

    /// <summary>Every command in its order, in one shell: each reply is one line; what only sets a variable answers nothing.</summary>
    private static async Task<List<JsonNode>> Replies(string[] blocks, RunningService ward, int commands)
    {
        var lines = blocks.Where(block => block.Contains("curl", StringComparison.Ordinal)).SelectMany(block => block.Split('\n')).ToList();
        Assert.Equal(commands, lines.Count);
        var address = ward.Http.BaseAddress!.ToString().TrimEnd('/');
        var script = string.Join('\n', lines.Select(line => $"{line.Replace(Served, address, StringComparison.Ordinal)}; echo"));
        var replies = (await Shell.Run(script))
            .Split('\n', StringSplitOptions.RemoveEmptyEntries)
            .Select(line => JsonNode.Parse(line)!)
            .ToList();
        Assert.Equal(commands - 1, replies.Count);
        return replies;
    }

    /// <summary>The episode, its entries, the one that came late, the one that corrects another.</summary>
    private static void Recorded(List<JsonNode> replies)
    {
        Assert.Equal(1, (int)replies[0]["version"]!);
        Assert.All(replies[1]["entries"]!.AsArray(), entry => Assert.Equal("recorded", (string)entry!["outcome"]!));
        Assert.Equal("recorded", (string)replies[2]["entries"]![0]!["outcome"]!);
        Assert.Equal("amended", (string)replies[3]["entries"]![0]!["outcome"]!);
    }

    /// <summary>The bladder's intervals sum to 355 mL and the urethral catheter gave 55: 5720 − 5370 + 60 leaked = 410.</summary>
    private static void Night(List<JsonNode> replies, int balance, int outputs, decimal shift)
    {
        var night = Assert.Single(replies[balance]["shifts"]!.AsArray())!;
        Assert.Equal(
            (shift, 350m),
            ((decimal)night["correctedUrineOutput"]!["headline"]!["value"]!, (decimal)night["simpleOutput"]!["value"]!)
        );
        var one = replies[balance]["hours"]!.AsArray().Single(hour => (string)hour!["start"]! == "2026-03-15T01:00:00+01:00")!;
        Assert.Equal(
            (42.8m, -530m),
            (Math.Round((decimal)one["correctedUrineOutput"]!["headline"]!["value"]!, 1), (decimal)one["simpleOutput"]!["value"]!)
        );
        Assert.NotEmpty(Entries(replies[outputs]));
        Assert.All(Entries(replies[outputs]), output => Assert.Equal("9187-6", (string)output["code"]!["coding"]![0]!["code"]!));
    }

    private static IEnumerable<JsonNode> Entries(JsonNode bundle) => bundle["entry"]!.AsArray().Select(entry => entry!["resource"]!);

    private async Task<(string Output, string Errors)> Done(params string[] args)
    {
        var (code, output, errors) = await ProgramProcess.Run(folder, args);
        Assert.True(code == 0, $"{string.Join(' ', args)}: {code}\n{errors}");
        return (output, errors);
    }

    [Fact]
    public void Every_setting_that_the_code_reads_has_its_row()
    {
        var literal = Repo.Files("src/IrrigationFhir", "*.cs")
            .SelectMany(file => SettingRead().Matches(Repo.Read(file)))
            .Select(m => m.Groups[1].Value);
        var read = literal
            .Concat(typeof(StoreSettings).GetProperties().Where(p => p.CanWrite).Select(p => $"Data:{p.Name}"))
            .Concat(typeof(FhirSettings).GetProperties().Where(p => p.CanWrite).Select(p => $"Fhir:{p.Name}"))
            .Concat(typeof(IntakeSettings).GetProperties().Where(p => p.CanWrite).Select(p => $"Intake:{p.Name}"))
            .Concat(typeof(AccessSettings).GetProperties().Where(p => p.SetMethod?.IsPublic == true).Select(p => $"Access:{p.Name}"))
            .Concat(
                typeof(SubscriptionSettings)
                    .GetProperties()
                    .Where(p => p.SetMethod?.IsPublic == true)
                    .Select(p => $"Subscriptions:{p.Name}")
            )
            .Append("Access:AuditKeep")
            .Distinct();
        var page = Repo.Read(Operators);
        var rows = SettingRow().Matches(page).Select(m => m.Groups[1].Value);
        Assert.Equal(read.Order(StringComparer.Ordinal), rows.Order(StringComparer.Ordinal));
        Assert.Contains($"| `Fhir:MaxBodyBytes` | {FhirSettings.DefaultMaxBodyBytes} |", page, StringComparison.Ordinal);
        Assert.Contains($"| `Fhir:CanonicalBase` | `{Profiles.DefaultCanonicalBase}` |", page, StringComparison.Ordinal);
    }

    [Fact]
    public void Codes_that_are_verified_in_part_are_named_and_the_licences_too()
    {
        var said = PartlyVerified().Match(Readme).Groups[1].Value.Split(", ");
        Assert.Equal(Codes.PartlyVerified.Select(c => c.Code).Order(StringComparer.Ordinal), said.Order(StringComparer.Ordinal));
        Assert.Contains("available at no cost under the license at http://loinc.org/license", Readme, StringComparison.Ordinal);
        Assert.Contains("Whoever deploys this holds the SNOMED CT licence", Readme, StringComparison.Ordinal);
    }

    internal static string[] BlocksOf(string text) => [.. ShellBlock().Matches(text).Select(m => m.Groups[1].Value.Trim())];

    [GeneratedRegex("```sh\n(.*?)```", RegexOptions.Singleline)]
    private static partial Regex ShellBlock();

    [GeneratedRegex(@"(?:--project |compute |@|^|test )((?:src|tests|fhir-examples|\.ci)/[\w./-]+)", RegexOptions.Multiline)]
    private static partial Regex NamedPath();

    [GeneratedRegex(@"`((?:src|tests|fhir-examples|openapi)(?:/[\w.-]+)*)`")]
    private static partial Regex QuotedPath();

    [GeneratedRegex(@"(?:\[|GetValue\()""((?:Data|Fhir|Entries):\w+)""")]
    private static partial Regex SettingRead();

    [GeneratedRegex(@"^\| `(\w+:\w+)` \|", RegexOptions.Multiline)]
    private static partial Regex SettingRow();

    [GeneratedRegex(@"\]\(((?!https?:)[^)#]+)\)")]
    private static partial Regex Link();

    [GeneratedRegex(@"FullyQualifiedName~(\w+)")]
    private static partial Regex Filter();

    [GeneratedRegex(@"before clinical use: ([\d, -]+)\.")]
    private static partial Regex PartlyVerified();
}
