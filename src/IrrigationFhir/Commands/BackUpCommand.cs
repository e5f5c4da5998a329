using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;

namespace IrrigationFhir.Commands;

/// <summary>The command <c>backup</c>: one line, and 0 when done, 1 when it failed, 2 when it was called wrongly.</summary>
internal static class BackUpCommand
{
    /// <summary>
    /// <c>backup TARGET</c>: a copy of the store of the settings in one file, while the service runs or not. It holds everything that was
    /// acknowledged before it began, and appears under its name only when it was read through and found whole.
    /// </summary>
    /// <param name="args">The file to write, which must not exist; then settings, as the service takes them.</param>
    /// <param name="output">Gets the line that says what was copied.</param>
    /// <param name="errors">Gets the line that says what hindered it.</param>
    public static int Run(string[] args, TextWriter output, TextWriter errors)
    {
        if (args is not [{ Length: > 0 } target, .. var settings] || target.StartsWith('-'))
            return CommandLine.RefuseCall(errors, "usage: IrrigationFhir backup TARGET [--Data:Folder FOLDER]");
        var folder = StoreSettings.Read(WebApplication.CreateBuilder(settings).Configuration).Folder;
        if (Path.Exists(target))
            return CommandLine.RefuseCall(errors, $"{target} exists: a backup overwrites nothing");
        if (!BackUp.HasStore(folder))
            return CommandLine.RefuseCall(errors, $"{folder} holds no store");
        return CommandLine.Report(output, errors, () => $"backed up to {target} and checked: {BackUp.Copy(folder, target)}");
    }
}
