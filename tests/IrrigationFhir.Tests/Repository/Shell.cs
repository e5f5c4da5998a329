using System.Diagnostics;

namespace IrrigationFhir.Tests.Repository;

/// <summary>The shell and curl, with which a reader runs what the repository shows.</summary>
internal static class Shell
{
    /// <summary>Why a test that needs them is passed over.</summary>
    public const string Absent = "bash and curl are needed to run the commands as they stand";

    /// <summary>Whether both are there.</summary>
    public static bool IsThere => OnPath("bash") && OnPath("curl");

    /// <summary>Runs a script that must end well; answers what it prints.</summary>
    /// <param name="script">The script.</param>
    /// <param name="folder">Where, relative to the root of the repository.</param>
    /// <param name="variables">What is set for it.</param>
    public static async Task<string> Run(string script, string folder = ".", params (string Name, string Value)[] variables)
    {
        var start = new ProcessStartInfo("bash", ["-euo", "pipefail"])
        {
            WorkingDirectory = Repo.PathOf(folder),
            RedirectStandardInput = true,
            RedirectStandardOutput = true,
            RedirectStandardError = true,
        };
        foreach (var (name, value) in variables)
            start.Environment[name] = value;
        using var bash = Process.Start(start)!;
        await bash.StandardInput.WriteAsync(script);
        bash.StandardInput.Close();
        var (said, failed) = (bash.StandardOutput.ReadToEndAsync(), bash.StandardError.ReadToEndAsync());
        await bash.WaitForExitAsync();
        Assert.True(bash.ExitCode == 0, $"{bash.ExitCode}: {await failed}");
        return await said;
    }

    /// <summary>Whether a further program is there.</summary>
    public static bool Has(string program) => OnPath(program);

    private static bool OnPath(string program) =>
        (Environment.GetEnvironmentVariable("PATH") ?? "")
            .Split(Path.PathSeparator)
            .Any(folder => File.Exists(Path.Combine(folder, program)));
}
