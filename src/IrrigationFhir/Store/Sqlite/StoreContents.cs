using System.Globalization;
using IrrigationFhir.Search;
using Microsoft.Data.Sqlite;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Store.Sqlite;

/// <summary>What a store holds, to tell one copy from another. Figures only.</summary>
/// <param name="Episodes">How many episodes.</param>
/// <param name="Entries">How many entries, all versions.</param>
/// <param name="Resources">How many resources, current versions.</param>
/// <param name="LastStored">When something was last stored; null in a store that holds nothing.</param>
internal sealed record StoreContents(long Episodes, long Entries, long Resources, Instant? LastStored)
{
    /// <summary>Counts.</summary>
    public static StoreContents Of(SqliteConnection store)
    {
        var last = Math.Max(
            Dialect.Number(store, "select max(received_at) from entry"),
            Dialect.Number(store, "select max(last_updated) from resource")
        );
        return new(
            Dialect.Number(store, "select count(*) from episode"),
            Dialect.Number(store, "select count(*) from entry"),
            Dialect.Number(store, "select count(*) from resource"),
            last == 0 ? null : UnixNanoseconds.ToInstant(last)
        );
    }

    /// <summary>In words.</summary>
    public override string ToString()
    {
        var last = LastStored is { } at ? $"last stored {InstantPattern.General.Format(at)}" : "nothing stored yet";
        return string.Create(CultureInfo.InvariantCulture, $"{Episodes} episodes, {Entries} entries, {Resources} resources, {last}");
    }
}
