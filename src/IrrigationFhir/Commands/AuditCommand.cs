using System.Globalization;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using Microsoft.Data.Sqlite;

namespace IrrigationFhir.Commands;

/// <summary>The command <c>audit</c>: one line, and 0 where the chain holds, 1 where it does not, 2 when it was called wrongly.</summary>
internal static class AuditCommand
{
    /// <summary>
    /// <c>audit --check</c>: goes through the audit of the store of the settings, row by row, while it is served or not, and says what hash
    /// it ends with. <c>audit --check HASH</c> also says whether that hash, noted earlier, is still in it.
    /// </summary>
    /// <param name="args"><c>--check</c>, a hash or not; then settings, as the service takes them.</param>
    /// <param name="output">Gets the line that says that the chain holds.</param>
    /// <param name="errors">Gets a line for each row that is missing or not as it was written.</param>
    public static int Run(string[] args, TextWriter output, TextWriter errors)
    {
        if (args is not ["--check", .. var rest])
            return CommandLine.RefuseCall(errors, "usage: IrrigationFhir audit --check [HASH] [--Data:Folder FOLDER]");
        var noted = rest is [var first, ..] && !first.StartsWith('-') ? first : null;
        var settings = noted is null ? rest : rest[1..];
        var folder = StoreSettings.Read(WebApplication.CreateBuilder(settings).Configuration).Folder;
        if (!BackUp.HasStore(folder))
            return CommandLine.RefuseCall(errors, $"{folder} holds no store");

        AuditCheckResult found;
        try
        {
            using var store = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadOnly);
            if (Dialect.Texts(store, "select name from sqlite_master where name = 'audit'").Count == 0)
                return Fails(errors, ["the store has no audit yet: its next start makes it"]);
            found = AuditCheck.Run(store, noted);
        }
        catch (SqliteException failure)
        {
            return Fails(errors, [$"the store cannot be read: {failure.Message}"]);
        }

        if (found.Holds == false)
            return Fails(errors, [.. found.Faults, $"{noted} is not in the chain: it, or what it was noted with, is gone"]);
        if (found.Faults.Count > 0)
            return Fails(errors, found.Faults);
        output.WriteLine(
            string.Create(
                CultureInfo.InvariantCulture,
                $"{found.Rows} rows, each as it was written and none missing; the chain ends with {found.Head}"
            )
        );
        return 0;
    }

    private static int Fails(TextWriter errors, IReadOnlyList<string> faults)
    {
        foreach (var fault in faults)
            errors.WriteLine(fault);
        return 1;
    }
}
