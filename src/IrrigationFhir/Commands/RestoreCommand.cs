using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;

namespace IrrigationFhir.Commands;

/// <summary>The command <c>restore</c>: one line, and 0 when done, 1 when it failed, 2 when it was called wrongly.</summary>
internal static class RestoreCommand
{
    /// <summary>
    /// <c>restore SOURCE</c>: puts a backup into the folder of the settings, where no store may be. <c>restore --check SOURCE</c>: says
    /// whether that would do, and what the backup holds; it changes nothing.
    /// </summary>
    /// <param name="args">The backup, behind <c>--check</c> or not; then settings, as the service takes them.</param>
    /// <param name="output">Gets the line that says what was found or restored.</param>
    /// <param name="errors">Gets the line that says what hindered it.</param>
    public static int Run(string[] args, TextWriter output, TextWriter errors)
    {
        var checkOnly = args is ["--check", ..];
        if ((checkOnly ? args[1..] : args) is not [{ Length: > 0 } source, .. var given] || source.StartsWith('-'))
            return CommandLine.RefuseCall(errors, "usage: IrrigationFhir restore [--check] SOURCE [--Data:Folder FOLDER]");
        if (!File.Exists(source))
            return CommandLine.RefuseCall(errors, $"{source} is not there");
        if (File.Exists(source + "-wal"))
            return CommandLine.RefuseCall(
                errors,
                $"{source} has a log beside it ({source}-wal), so it is a store and no backup: make one with backup"
            );
        var settings = StoreSettings.Read(WebApplication.CreateBuilder(given).Configuration);
        return CommandLine.Report(
            output,
            errors,
            () =>
            {
                var found = CopyCheck.TryRestore(source, settings.TimeZone);
                if (checkOnly)
                    return $"{source} can be restored: {found}";
                StoreFolder.Put(settings.Folder, source);
                return $"restored {source} to {settings.Folder}: {found}";
            }
        );
    }
}
