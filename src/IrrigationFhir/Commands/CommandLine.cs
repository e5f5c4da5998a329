using System.Reflection;
using IrrigationFhir.Settings;
using IrrigationFhir.Store;

namespace IrrigationFhir.Commands;

/// <summary>
/// The command line: a command, or none to serve, then settings as <c>--Section:Key=value</c>. Nothing starts and nothing is written
/// before every argument is known.
/// </summary>
/// <remarks>The framework passes over arguments that it does not know: with <c>--prot 8080</c> it would serve on another port.</remarks>
internal static class CommandLine
{
    /// <summary>Exit code where the program was called wrongly, or a setting cannot be used.</summary>
    public const int CalledWrongly = 2;

    /// <summary>Runs the command that the arguments name.</summary>
    /// <param name="args">The arguments.</param>
    /// <param name="commands">What can be asked for.</param>
    /// <param name="serve">What is done where no command is named.</param>
    /// <param name="output">Gets help and version.</param>
    /// <param name="errors">Gets what is wrong, one fault a line.</param>
    public static async Task<int> Run(
        string[] args,
        IReadOnlyList<Command> commands,
        Func<string[], Task<int>> serve,
        TextWriter output,
        TextWriter errors
    )
    {
        var named = args.Length > 0 ? commands.FirstOrDefault(command => command.Name == args[0]) : null;
        if (args is ["help" or "-h" or "-?", ..] || args.Contains("--help"))
        {
            await output.WriteAsync(named is null ? Help(commands) : Help(named));
            return 0;
        }

        if (args is ["--version", ..])
        {
            await output.WriteLineAsync(Version);
            return 0;
        }

        var (run, rest) = named is null ? (serve, args) : (named.Run, args[1..]);
        var faults =
            named is null ? Faults(rest, [], [], commands).ToList()
            : named.BesideSettings is { } own ? [.. Faults(rest, own, named.WithValue, [])]
            : [];
        foreach (var fault in faults)
            await errors.WriteLineAsync(fault);
        if (faults.Count > 0)
            return CalledWrongly;

        try
        {
            return await run(rest);
        }
        catch (Exception fault) when (fault is SettingsFault or StoreFault or InvalidDataException)
        {
            // The last: a file of settings that is no JSON.
            await errors.WriteLineAsync(fault.Message);
            return CalledWrongly;
        }
    }

    /// <summary>Does a command's work on the store: its line is answered with 0, what hinders it with 1.</summary>
    public static int Report(TextWriter output, TextWriter errors, Func<string> work)
    {
        try
        {
            output.WriteLine(work());
            return 0;
        }
        catch (StoreFault fault)
        {
            errors.WriteLine(fault.Message);
            return 1;
        }
    }

    /// <summary>Says why a command cannot be called like this.</summary>
    public static int RefuseCall(TextWriter errors, string why)
    {
        errors.WriteLine(why);
        return CalledWrongly;
    }

    /// <summary>The program's version, with the commit that it was built from where that is known.</summary>
    private static string Version =>
        $"IrrigationFhir {typeof(CommandLine).Assembly.GetCustomAttribute<AssemblyInformationalVersionAttribute>()!.InformationalVersion}";

    /// <summary>What is wrong with arguments, of which each has to be a setting or one of a command's own options.</summary>
    private static IEnumerable<string> Faults(string[] args, string[] own, string[] withValue, IReadOnlyList<Command> commands)
    {
        for (var i = 0; i < args.Length; i++)
        {
            if (own.Contains(args[i]))
                continue;
            if (!args[i].StartsWith('-') || args[i] is "-" or "--")
            {
                yield return i == 0 && commands.Count > 0
                    ? $"{args[i]}: not a command{Nearest(args[i], commands.Select(command => command.Name))}"
                    : $"{args[i]}: not expected here; settings are given as --Section:Key=value, --help says more";
                continue;
            }

            var (key, value) = args[i].IndexOf('=', StringComparison.Ordinal) is > 0 and var at
                ? (args[i][..at], args[i][(at + 1)..])
                : (args[i], null);
            if (withValue.Contains(key))
            {
                i += value is null ? 1 : 0;
                continue;
            }

            var name = key.StartsWith("--", StringComparison.Ordinal) ? key[2..] : "";
            if (value is "" && AllSettings.IsSection(name))
                continue;
            if (!AllSettings.Knows(name))
            {
                string[] known = [.. own.Concat(withValue).Select(option => option[2..]), "help", "version", .. AllSettings.Keys];
                yield return $"{key}: not an option{Nearest(key.TrimStart('-'), known, "--")}";
                if (value is null && i + 1 < args.Length && !args[i + 1].StartsWith('-'))
                    i++; // what was meant for it
            }
            else if (value is null && (++i == args.Length || args[i].StartsWith("--", StringComparison.Ordinal)))
            {
                yield return $"{key}: a value is expected, as {key}=value";
                i--;
            }
        }
    }

    private static string Nearest(string given, IEnumerable<string> known, string prefix = "") =>
        $"; {(Spelling.Nearest(given, known) is { } nearest ? $"did you mean {prefix}{nearest}? " : "")}--help lists what there is";

    private static string Help(Command command) => $"usage: IrrigationFhir {command.Usage}\n\n{command.Does}\n";

    private static string Help(IReadOnlyList<Command> commands) =>
        $"""
            IrrigationFhir computes corrected urine output under bladder irrigation, and serves it as FHIR R4.

            usage: IrrigationFhir [--Section:Key=value …]     serves, by default on http://localhost:5000
                   IrrigationFhir <command> …

            Commands:
            {string.Join('\n', commands.Select(command => $"  {command.Usage, -32} {command.Does}"))}

            Options:
              --urls=http://localhost:8080     Where it listens.
              --Data:Folder=data               Where its database lies. Every other setting is given the same way.
              --help, --version

            Settings also come from appsettings.json in the working directory and from the environment (Data__Folder). A table of them is in
            src/IrrigationFhir/README.md; the command settings prints those that the numbers rest on.

            Exit code: 0 when done, 1 when it failed, 2 when called wrongly or with a setting that cannot be used. {AllAtOnce}

            """;

    private const string AllAtOnce = "All faults are named at once.";
}
