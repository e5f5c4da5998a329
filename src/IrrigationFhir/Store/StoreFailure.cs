using System.Data.Common;

namespace IrrigationFhir.Store;

/// <summary>Why the store cannot do its work just now.</summary>
internal enum StoreTrouble
{
    /// <summary>The disk is full, or nearly: below <see cref="StoreSettings.LeastFreeMegabytes"/>.</summary>
    Full,

    /// <summary>The folder or the file cannot be written.</summary>
    NotWritable,

    /// <summary>The database file is not where it was.</summary>
    Gone,

    /// <summary>A page of the database is not what was written.</summary>
    Damaged,

    /// <summary>The clock stands before the time of what was stored last: what is stored now would seem older than that.</summary>
    ClockBehind,

    /// <summary>Another process holds the database, or it does not answer.</summary>
    Unavailable,

    /// <summary>A query took longer than one may (<see cref="Database.LongestQuery"/>), and was given up.</summary>
    TooCostly,
}

/// <summary>The store could not do what was asked. Nothing of it was kept; the same again may succeed later.</summary>
internal sealed class StoreFailure(StoreTrouble trouble, int engineCode = 0, Exception? cause = null) : DbException(Says(trouble), cause)
{
    /// <summary>Why.</summary>
    public StoreTrouble Trouble => trouble;

    /// <summary>The engine's own code; 0 where the engine was not asked.</summary>
    public int EngineCode => engineCode;

    /// <summary>In words, without anything of what was to be stored.</summary>
    private static string Says(StoreTrouble trouble) =>
        trouble switch
        {
            StoreTrouble.Full => "the disk of the store is full, or nearly",
            StoreTrouble.NotWritable => "the store cannot be written",
            StoreTrouble.Gone => "the database file is not where it was",
            StoreTrouble.Damaged => "the database is damaged",
            StoreTrouble.ClockBehind => "the clock stands before the time of what was stored last",
            StoreTrouble.Unavailable => "the store does not answer",
            StoreTrouble.TooCostly => "the query took longer than one may",
        };
}
