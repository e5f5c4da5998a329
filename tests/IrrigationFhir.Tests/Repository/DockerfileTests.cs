using System.Globalization;
using IrrigationFhir.Health;

namespace IrrigationFhir.Tests.Repository;

/// <summary>The Dockerfile, read: what it copies is there, and what it promises it says.</summary>
public class DockerfileTests
{
    private static readonly string[] Lines =
    [
        .. Repo.Read("Dockerfile")
            .Replace("\\\n", " ", StringComparison.Ordinal)
            .Split('\n')
            .Where(line => line.Length > 0 && line[0] != '#'),
    ];

    [Fact]
    public void Every_path_that_it_names_is_in_the_repository()
    {
        var copied = Lines
            .Where(line => line.StartsWith("COPY ", StringComparison.Ordinal) && !line.Contains("--from", StringComparison.Ordinal))
            .SelectMany(line => line.Split(' ')[1..^1])
            .ToList();
        Assert.Contains("src/IrrigationFhir/packages.lock.json", copied);
        Assert.All(copied, path => Assert.True(Path.Exists(Repo.PathOf(path)), path));

        var projects = Lines
            .Where(line => line.StartsWith("RUN dotnet", StringComparison.Ordinal))
            .Select(line => line.Split(' ')[3])
            .ToList();
        Assert.NotEmpty(projects);
        Assert.All(projects, project => Assert.NotEmpty(Directory.GetFiles(Repo.PathOf(project), "*.csproj")));
        Assert.Contains(
            Lines,
            line =>
                line.StartsWith("RUN dotnet restore", StringComparison.Ordinal) && line.Contains("--locked-mode", StringComparison.Ordinal)
        );
    }

    [Fact]
    public void The_image_runs_without_root_keeps_its_data_in_a_volume_and_tells_its_health()
    {
        var image = Lines[Array.FindLastIndex(Lines, line => line.StartsWith("FROM ", StringComparison.Ordinal))..];
        Assert.Equal("FROM ${RUNTIME}", image[0]);
        Assert.Contains("ARG RUNTIME=mcr.microsoft.com/dotnet/aspnet:10.0-noble-chiseled", Lines);
        Assert.DoesNotContain(image, line => line.StartsWith("RUN ", StringComparison.Ordinal)); // it has no shell
        Assert.Contains("ENV DOTNET_EnableDiagnostics=0", image);
        Assert.Equal("USER $APP_UID", image.Last(line => line.StartsWith("USER ", StringComparison.Ordinal)));
        Assert.Contains("ENV Data__Folder=/data", image);
        Assert.Contains("VOLUME /data", image);
        Assert.Contains(
            image,
            line =>
                line.StartsWith("HEALTHCHECK ", StringComparison.Ordinal)
                && line.EndsWith("""CMD ["dotnet", "IrrigationFhir.dll", "health"]""", StringComparison.Ordinal)
        );
    }

    [Fact]
    public void It_is_built_and_run_as_the_page_for_operators_says_with_nothing_but_what_it_needs()
    {
        var blocks = ReadmeTests.BlocksOf(Repo.Read("src/IrrigationFhir/README.md"));
        var build = blocks.Single(block => block.StartsWith("docker build", StringComparison.Ordinal));
        Assert.Contains($"#   {build}\n", Repo.Read("Dockerfile"), StringComparison.Ordinal);
        var command = blocks.Single(block => block.StartsWith("docker run", StringComparison.Ordinal));
        Assert.Contains(
            $"#   {command}\n",
            Repo.Read("Dockerfile").Replace(" \\\n#     ", " ", StringComparison.Ordinal),
            StringComparison.Ordinal
        );
        string[] options =
        [
            "--read-only",
            "--tmpfs /tmp",
            "--cap-drop ALL",
            "--security-opt no-new-privileges",
            "-v irrigation-data:/data",
            // Within a container every address is one of the network: it is published on this machine alone.
            "-p 127.0.0.1:8080:8080",
            "-e Access__OpenToNetwork=true",
        ];
        Assert.All(options, option => Assert.Contains($" {option} ", command, StringComparison.Ordinal));
    }

    [Fact]
    public async Task Its_health_check_follows_the_service()
    {
        string address;
        await using (var ward = RunningService.Start("2026-03-14T22:00:00Z"))
        {
            address = ward.Http.BaseAddress!.ToString();
            using var patience = new CancellationTokenSource(TimeSpan.FromMinutes(1));
            while (!(await ward.Http.GetAsync(new Uri("/health/ready", UriKind.Relative), patience.Token)).IsSuccessStatusCode)
                await Task.Delay(50, patience.Token);
            Assert.Equal((0, "ready"), await Probed(address));
        }

        Assert.Equal((1, "no answer"), await Probed(address));
        Assert.Equal((2, "usage: IrrigationFhir health [http://host:port]"), await Probed("nowhere"));
    }

    private static async Task<(int Code, string Says)> Probed(string address)
    {
        using var output = new StringWriter(CultureInfo.InvariantCulture);
        return (await Probe.Run([address], output), output.ToString().Trim());
    }
}
