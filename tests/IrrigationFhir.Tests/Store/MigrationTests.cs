using System.Security.Cryptography;
using System.Text;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using Microsoft.Data.Sqlite;
using static IrrigationFhir.Tests.Store.StoreOnDisk;

namespace IrrigationFhir.Tests.Store;

/// <summary>How the schema of a store comes to be what the service expects, and what happens when it does not.</summary>
public class MigrationTests
{
    /// <summary>A script that is shipped never changes: add the line of a new one, and touch no other.</summary>
    [Theory]
    [InlineData("0001-episodes-and-resources.sql", "ea5bd28e8d37d8a8595916af235549514d6d2131e660497a2a9535ae11144e8c")]
    [InlineData("0002-searches-by-patient-and-status.sql", "8f1b2ca084ce7e3d6aad39e980acfb90aeb673817507b06ed9071b360a219cd7")]
    [InlineData("0003-flags.sql", "3379b4b26b1fe26a19582e1304b87bf4332542c744060a3010619c2712092a7b")]
    [InlineData("0004-other-times.sql", "3026e71b40a835d2bdfd117fe0f57647827ad486ee66e5b8dd43440d4797b1a8")]
    [InlineData("0005-subscriptions.sql", "332ddc6554f96373a49a7ef3cb5cd0520cf97dfad534922138c0d5b3813a1bf0")]
    [InlineData("0006-stores-made-in-between.sql", "b6b2b6f015dbedbcb2ec7a06bde7ba59a1816e39bb2bde427a6c05219ab1cfe1")]
    [InlineData("0007-where-patients-lie.sql", "281cd1c8b85e09563f3507ac7a6dde0caf8146883e54a98b96c7593146448002")]
    [InlineData("0008-found-by-more.sql", "4a7038a701e4bbd6556cdb22812af0224b82a6f9e32baf072b4cdc755762f695")]
    [InlineData("0009-narrow-rows.sql", "6dd170cfb0cd1f9bc71627cd425cc670bc9ee0489a0d927b0aeba0c85ff42575")]
    [InlineData("0010-episode-memory.sql", "1742adc37d7def2ca4fad5a6c4ce49cca08a855e11fa2f20df9439c5e1bf08f0")]
    [InlineData("0011-exports.sql", "db6629f294788573946dc787c081a1ea7447dfb1364ef2b7d11d1b01351fb653")]
    [InlineData("0012-access.sql", "be81f6878d6c17c11d96a3a5aeae9ccadac75d48d6bb3bcb70780692d6e7e196")]
    [InlineData("0013-audit.sql", "576347e6df3bdbe9bb97cc3d1162ca175abd4303baafb184f9a175e6949f9382")]
    [InlineData("0014-facilities-and-clients.sql", "dfdbffa4e7fc778e5c623dc83e54319b9809ad74d48ba05a89616f4a61a462e7")]
    public void A_shipped_script_stays_as_it_was_shipped(string name, string sha256)
    {
        var script = Migration.Shipped.Single(s => s.Name.EndsWith($".{name}", StringComparison.Ordinal));
        Assert.Equal(sha256, Convert.ToHexStringLower(SHA256.HashData(Encoding.UTF8.GetBytes(script.Sql))));
    }

    [Fact]
    public void No_script_is_shipped_without_its_fingerprint() => Assert.Equal(14, Migration.Shipped.Count);

    [Fact]
    public void A_new_store_has_the_expected_schema_and_a_second_start_changes_nothing()
    {
        var file = NewFile();
        Migration.Run(file, NodaTime.DateTimeZone.Utc);
        var first = File.ReadAllBytes(file);
        Migration.Run(file, NodaTime.DateTimeZone.Utc);
        using var store = Dialect.Open(file, SqliteOpenMode.ReadOnly);
        Assert.Empty(SchemaCheck.Differences(store));
        Assert.Equal(0, Migration.Pending(store));
        Assert.Equal(first.Length, new FileInfo(file).Length);
    }

    // An upgrade of that time ran the next script under its own transaction, met the renamed one and died: half of it stayed.
    [Theory]
    [InlineData("2026-11-25-c4e2c0f", "0002-searches-by-patient-and-status.sql")]
    [InlineData("2026-11-26-6aa9c80", "0004-other-times.sql")]
    public async Task A_store_that_an_upgrade_left_half_migrated_is_brought_up_to_date(string name, string half)
    {
        var folder = Landed.Unpack(name);
        using (var store = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadWrite))
        {
            var script = Migration.Shipped.Single(s => s.Name.EndsWith(half, StringComparison.Ordinal));
            Dialect.Run(store, script.Sql);
            Dialect.Run(store, $"insert into SchemaVersions (ScriptName, Applied) values ('{script.Name}', '2026-11-26')");
        }

        await using var after = Reopen(folder, TimeProvider.System);
        Assert.Equal(33, StoreFolderTests.Entries(Dialect.FileIn(folder)));
    }

    [Fact]
    public void A_subscriber_who_was_told_before_this_was_remembered_is_told_when_it_is_taken_back()
    {
        var folder = Landed.Unpack("2026-11-26-fa51923");
        Migration.Run(Dialect.FileIn(folder), NodaTime.DateTimeZone.Utc);
        using var store = Dialect.Open(Dialect.FileIn(folder), SqliteOpenMode.ReadOnly);
        var events = Dialect.Texts(store, "select distinct type || '/' || id from subscription_event order by 1");
        Assert.NotEmpty(events);
        Assert.Equal(events, Dialect.Texts(store, "select type || '/' || id from subscription_told order by 1"));
    }

    [Theory]
    [InlineData("drop index outbox_by_time", "index outbox_by_time is missing")]
    [InlineData("drop table withheld", "table withheld is missing")]
    [InlineData("create table notes (text text)", "table notes is not known here")]
    [InlineData("create index by_kind on entry (kind)", "index by_kind is not known here")]
    [InlineData("alter table lease add column note text", "column lease.note is not known here")]
    [InlineData("alter table outbox drop column event", "column outbox.event is missing")]
    [InlineData(
        "drop index outbox_by_time; create index outbox_by_time on outbox (at, number)",
        "index outbox_by_time is not as it should be"
    )]
    [InlineData(
        "drop table lease; create table lease (name text not null primary key, holder text null, until integer not null) without rowid",
        "column lease.holder is text, and should be text not null"
    )]
    [InlineData("create trigger watch after delete on entry begin select 1; end", "trigger watch is not known here")]
    public void A_schema_that_is_not_what_is_expected_is_refused_by_the_name_of_what_differs(string changed, string difference)
    {
        var file = NewFile();
        Migration.Run(file, NodaTime.DateTimeZone.Utc);
        using (var store = Dialect.Open(file, SqliteOpenMode.ReadWrite))
            Dialect.Run(store, changed);

        var fault = Assert.Throws<StoreFault>(() => Migration.Run(file, NodaTime.DateTimeZone.Utc));

        Assert.Equal(
            $"The store does not have the schema that this version expects, and was left as it was: {difference}. "
                + "Start the version that made it, or restore a backup.",
            fault.Message
        );
    }

    [Fact]
    public void An_upgrade_that_fails_in_its_middle_changes_nothing()
    {
        var folder = Landed.Unpack("2026-11-25-aa28255");
        var file = Dialect.FileIn(folder);
        // 0004 makes a table of that name; 0002 and 0003 have run by then, in the same transaction.
        using (var store = Dialect.Open(file, SqliteOpenMode.ReadWrite))
            Dialect.Run(store, "create table resource_date (other text)");
        var before = Schema(file);

        var fault = Assert.Throws<StoreFault>(() => Migration.Run(file, NodaTime.DateTimeZone.Utc));

        const string Said = "The schema of the store could not be brought up to date, and nothing of it was changed: ";
        Assert.StartsWith(Said, fault.Message, StringComparison.Ordinal);
        Assert.Equal(before, Schema(file));
    }

    private static string NewFile() => Dialect.FileIn(Directory.CreateTempSubdirectory("migration-").FullName);

    private static List<string> Schema(string file)
    {
        using var store = Dialect.Open(file, SqliteOpenMode.ReadOnly);
        return Dialect.Texts(
            store,
            "select name || sql from sqlite_master where sql is not null union all select ScriptName from SchemaVersions order by 1"
        );
    }
}
