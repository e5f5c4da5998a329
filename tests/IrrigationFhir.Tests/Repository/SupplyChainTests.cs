using System.Text.Json.Nodes;
using System.Xml.Linq;

namespace IrrigationFhir.Tests.Repository;

/// <summary>What is said of the packages is true: the audit knows when it is blind, a pinned tool makes the bill of materials.</summary>
public class SupplyChainTests
{
    private const string Clean = """{"version": 1, "projects": [{"path": "a.csproj"}]}""";
    private const string Vulnerable = """{"version": 1, "projects": [{"topLevelPackages": [{"id": "P", "vulnerabilities": [{}]}]}]}""";

    [SkippableTheory]
    [InlineData(0, Clean, Clean, "the audit is blind here")]
    [InlineData(1, Vulnerable, Clean, "the audit is blind here")]
    [InlineData(0, Vulnerable, Clean, "no package with a known vulnerability")]
    [InlineData(0, Clean, Vulnerable, "the audit is blind here")]
    [InlineData(0, Vulnerable, Vulnerable, "failed: packages with known vulnerabilities")]
    public async Task The_audit_is_believed_only_where_it_finds_what_is_known_to_be_vulnerable(
        int restored,
        string control,
        string ours,
        string says
    )
    {
        Skip.IfNot(Shell.IsThere, Shell.Absent);
        var folder = Directory.CreateTempSubdirectory("audit-").FullName;
        await File.WriteAllTextAsync(Path.Combine(folder, "control.json"), control);
        await File.WriteAllTextAsync(Path.Combine(folder, "ours.json"), ours);

        // A feed of our own making: "dotnet restore" ends as it is told, "dotnet list" of control and solution says what lies there.
        var dotnet = Path.Combine(folder, "dotnet");
        await File.WriteAllTextAsync(
            dotnet,
            $$"""
            #!/bin/sh
            case "$1 $2" in
                restore*) exit {{restored}} ;;
                list*control.csproj) cat "{{folder}}/control.json" ;;
                list*) cat "{{folder}}/ours.json" ;;
            esac
            """
        );
        var said = await Shell.Run($"chmod +x \"{dotnet}\"; PATH=\"{folder}:$PATH\" bash .ci/audit && echo passed || echo refused");

        Assert.Contains(says, said, StringComparison.Ordinal);
        Assert.EndsWith(says.Contains("failed", StringComparison.Ordinal) ? "refused" : "passed", said.TrimEnd(), StringComparison.Ordinal);
        Directory.Delete(folder, recursive: true);
    }

    [Fact]
    public void The_audit_is_a_step_of_every_check_and_the_bill_of_materials_is_made_by_a_pinned_tool()
    {
        Assert.Contains("step .ci/audit\n", Repo.Read(".ci/run"), StringComparison.Ordinal);
        var tools = JsonNode.Parse(Repo.Read(".config/dotnet-tools.json"))!["tools"]!.AsObject();
        var command = (string)tools["cyclonedx"]!["commands"]![0]!;
        Assert.Contains($"dotnet {command} src/IrrigationFhir/IrrigationFhir.csproj", Repo.Read(".ci/sbom"), StringComparison.Ordinal);
        Assert.All(tools, tool => Assert.Matches(@"^\d+\.\d+\.\d+$", (string)tool.Value!["version"]!));
    }

    [Fact]
    public void Every_package_is_pinned_to_one_released_version()
    {
        var packages = XDocument.Parse(Repo.Read("Directory.Packages.props")).Descendants("PackageVersion");
        var versions = packages.Select(package => (string)package.Attribute("Version")!).ToList();
        Assert.NotEmpty(versions);
        Assert.All(versions, version => Assert.Matches(@"^\d+\.\d+\.\d+$", version));
    }
}
