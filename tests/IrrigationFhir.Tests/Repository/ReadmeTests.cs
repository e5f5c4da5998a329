using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using IrrigationFhir.Fhir;
using IrrigationFhir.Intake;
using IrrigationFhir.Rest;
using IrrigationFhir.Subscriptions;

namespace IrrigationFhir.Tests.Repository;

/// <summary>README and DEVELOPERS, executed.</summary>
public partial class ReadmeTests
{
    private const string Demo = "dotnet run --project src/IrrigationFhir -- demo";
    private const string Tests = "dotnet test";
    private const string Served = "http://localhost:5000";

    private static readonly string Readme = Repo.Read("README.md");
    private static readonly string[] Blocks = BlocksOf(Readme);

    [Fact]
    public void The_first_two_commands_are_the_demo_and_the_tests_and_nothing_has_to_be_installed_before()
    {
        Assert.Equal([Demo, Tests], Blocks.Take(2));
        Assert.Contains("dotnet test 2>&1", Repo.Read(".ci/run"), StringComparison.Ordinal);
    }

    [Theory, InlineData("README.md"), InlineData("DEVELOPERS.md")]
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

    [SkippableFact]
    public async Task Every_curl_command_does_what_the_text_says()
    {
        Skip.IfNot(Shell.IsThere, Shell.Absent);
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var commands = Blocks
            .Where(block => block.Contains("curl", StringComparison.Ordinal))
            .SelectMany(block => block.Split('\n'))
            .ToList();
        Assert.Equal(9, commands.Count);

        // Each reply on a line of its own; what only sets a variable answers nothing.
        var script = string.Join(
            '\n',
            commands.Select(command =>
                $"{command.Replace(Served, ward.Http.BaseAddress!.ToString().TrimEnd('/'), StringComparison.Ordinal)}; echo"
            )
        );
        var replies = (await Shell.Run(script))
            .Split('\n', StringSplitOptions.RemoveEmptyEntries)
            .Select(line => JsonNode.Parse(line)!)
            .ToList();
        Assert.Equal(8, replies.Count);

        Assert.Equal(1, (int)replies[0]["version"]!);
        Assert.All(replies[1]["entries"]!.AsArray(), entry => Assert.Equal("recorded", (string)entry!["outcome"]!));
        Assert.Equal("recorded", (string)replies[2]["entries"]![0]!["outcome"]!);
        Assert.Equal("amended", (string)replies[3]["entries"]![0]!["outcome"]!);

        // The bladder's intervals sum to 355 mL and the urethral catheter gave 55: 5720 − 5370 + 60 leaked = 410.
        var shift = Assert.Single(replies[4]["shifts"]!.AsArray())!;
        Assert.Equal(
            (410m, 350m),
            ((decimal)shift["correctedUrineOutput"]!["headline"]!["value"]!, (decimal)shift["simpleOutput"]!["value"]!)
        );
        var one = replies[4]["hours"]!.AsArray().Single(hour => (string)hour!["start"]! == "2026-03-15T01:00:00+01:00")!;
        Assert.Equal(
            (42.8m, -530m),
            (Math.Round((decimal)one["correctedUrineOutput"]!["headline"]!["value"]!, 1), (decimal)one["simpleOutput"]!["value"]!)
        );
        Assert.Contains("−530 mL", Readme, StringComparison.Ordinal);
        Assert.Contains("42.8 mL", Readme, StringComparison.Ordinal);

        Assert.All(
            replies[5]["entry"]!.AsArray(),
            entry => Assert.Contains((string)entry!["resource"]!["code"]!["coding"]![0]!["code"]!, "9187-6")
        );
        Assert.NotEmpty(replies[5]["entry"]!.AsArray());
        Assert.Equal("negative", (string)replies[6]["issue"]![0]!["details"]!["coding"]![0]!["code"]!);
        Assert.Equal(("Observation", 35m), ((string)replies[7]["resourceType"]!, (decimal)replies[7]["valueQuantity"]!["value"]!));
    }

    [Fact]
    public void Every_setting_that_the_code_reads_has_its_row()
    {
        var literal = Repo.Files("src/IrrigationFhir", "*.cs")
            .SelectMany(file => SettingRead().Matches(Repo.Read(file)))
            .Select(m => m.Groups[1].Value);
        var read = literal
            .Concat(typeof(FhirSettings).GetProperties().Where(p => p.CanWrite).Select(p => $"Fhir:{p.Name}"))
            .Concat(typeof(IntakeSettings).GetProperties().Where(p => p.CanWrite).Select(p => $"Intake:{p.Name}"))
            .Concat(
                typeof(SubscriptionSettings)
                    .GetProperties()
                    .Where(p => p.SetMethod?.IsPublic == true)
                    .Select(p => $"Subscriptions:{p.Name}")
            )
            .Distinct();
        var rows = SettingRow().Matches(Readme).Select(m => m.Groups[1].Value);
        Assert.Equal(read.Order(StringComparer.Ordinal), rows.Order(StringComparer.Ordinal));
        Assert.Contains($"| `Fhir:MaxBodyBytes` | {FhirSettings.DefaultMaxBodyBytes} |", Readme, StringComparison.Ordinal);
        Assert.Contains($"| `Fhir:CanonicalBase` | `{Profiles.DefaultCanonicalBase}` |", Readme, StringComparison.Ordinal);
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

    [GeneratedRegex(@"before clinical use: ([\d, -]+)\.")]
    private static partial Regex PartlyVerified();
}
