using IrrigationFhir.Audit;
using IrrigationFhir.Commands;
using IrrigationFhir.Model;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using Microsoft.Data.Sqlite;
using Microsoft.Extensions.Time.Testing;
using NodaTime;

namespace IrrigationFhir.Tests.Audit;

/// <summary>The chain: whatever is done to a row by hand shows, and what goes by age does not.</summary>
public sealed class ChainTests : IAsyncLifetime
{
    private readonly string _folder = Directory.CreateTempSubdirectory("chain-").FullName;
    private readonly FakeTimeProvider _clock = new(new(2026, 3, 14, 22, 0, 0, TimeSpan.Zero));
    private Database _database = null!;
    private AuditStore _audit = null!;

    public Task InitializeAsync()
    {
        _database = new(new() { Folder = _folder }, _clock);
        _database.Start();
        _audit = new(_database);
        return Task.CompletedTask;
    }

    public async Task DisposeAsync()
    {
        await _database.DisposeAsync();
        Directory.Delete(_folder, recursive: true);
    }

    [Fact]
    public async Task A_chain_that_nobody_touched_holds()
    {
        await Add(7);
        var (code, output, errors) = Check();
        Assert.True(code == 0, errors);
        Assert.StartsWith("7 rows, each as it was written and none missing; the chain ends with ", output, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData("delete from audit where number = 3", "row 3 is missing")]
    [InlineData("delete from audit where number in (3, 4)", "rows 3 to 4 are missing")]
    [InlineData("update audit set client = 'somebody else' where number = 3", "row 3 is found by something else than it says")]
    [InlineData("update audit set patient = 7 where number = 3", "row 3 is found by something else than it says")]
    [InlineData("update audit set recorded = recorded + 1 where number = 3", "row 3 is found by something else than it says")]
    [InlineData(
        "update audit set content = (select content from audit where number = 2), recorded = (select recorded from audit where number = 2) "
            + "where number = 3",
        "row 3 is not as it was written"
    )]
    [InlineData("update audit set content = x'00' where number = 3", "row 3 cannot be read")]
    [InlineData("update audit set hash = zeroblob(32) where number = 3", "row 3 is not as it was written")]
    public async Task What_is_done_to_a_row_by_hand_shows(string done, string says)
    {
        await Add(7);
        ByHand(done);
        var (code, _, errors) = Check();
        Assert.Equal(1, code);
        Assert.Contains(says, errors, StringComparison.Ordinal);
    }

    [Fact]
    public async Task The_last_rows_of_all_are_missed_by_whoever_noted_what_the_chain_ended_with()
    {
        await Add(7);
        var noted = Check().Output.TrimEnd()[^64..];
        await Add(1);
        Assert.Equal(0, Check(noted).Code);
        ByHand("delete from audit where number >= 7");
        Assert.Equal(0, Check().Code); // the chain alone cannot tell
        var (code, _, errors) = Check(noted);
        Assert.Equal(1, code);
        Assert.Contains($"{noted} is not in the chain", errors, StringComparison.Ordinal);
    }

    [Fact]
    public async Task Days_that_were_kept_long_enough_go_and_what_is_left_holds()
    {
        for (var day = 0; day < 4; day++)
        {
            await Add(5);
            _clock.Advance(TimeSpan.FromDays(1));
        }

        // 14, 15 and 16 March have ended; two of them are over.
        var removed = 0;
        while (await _audit.RemoveBefore(Instant.FromUtc(2026, 3, 16, 12, 0), 3, default) is > 0 and var some)
        {
            removed += some;
            Assert.Equal(0, Check().Code); // also half-way
        }

        Assert.Equal(10, removed);
        await Add(1);
        var (code, output, errors) = Check();
        Assert.True(code == 0, errors);
        Assert.StartsWith("11 rows,", output, StringComparison.Ordinal);
        ByHand("delete from audit where number = 11");
        Assert.Contains("row 11 is missing", Check().Errors, StringComparison.Ordinal);
    }

    [Fact]
    public async Task When_all_has_gone_the_chain_goes_on_where_it_was()
    {
        await Add(3);
        _clock.Advance(TimeSpan.FromDays(2));
        await Add(1);
        _clock.Advance(TimeSpan.FromDays(2));
        while (await _audit.RemoveBefore(Instant.FromUtc(2026, 3, 17, 0, 0), 100, default) > 0) { }
        ByHand("select 1");
        await Add(1);
        Assert.Equal(0, Check().Code);
        Assert.Equal([5L, 4L], (await _audit.Search(new([], 10), default)).Rows.Select(row => row.Number));
    }

    [Fact]
    public async Task A_day_that_is_cut_out_of_the_middle_shows()
    {
        for (var day = 0; day < 3; day++)
        {
            await Add(2);
            _clock.Advance(TimeSpan.FromDays(1));
        }

        ByHand("delete from audit where number in (3, 4); delete from audit_day where first = 3");
        Assert.Contains("rows 3 to 4 are missing", Check().Errors, StringComparison.Ordinal);
    }

    private async Task Add(int rows)
    {
        for (var i = 0; i < rows; i++)
        {
            var actor = new Actor("ward-board", "token-1", $"request-{i}", "192.0.2.7", "192.0.2.1");
            await _audit.Add(AuditEntry.By(actor, Deed.Query, "search-type", Instant.FromDateTimeOffset(_clock.GetUtcNow())), default);
        }
    }

    private void ByHand(string sql)
    {
        using var store = Dialect.Open(Dialect.FileIn(_folder), SqliteOpenMode.ReadWrite);
        Dialect.Run(store, sql);
    }

    private (int Code, string Output, string Errors) Check(string? noted = null)
    {
        using var output = new StringWriter();
        using var errors = new StringWriter();
        string[] asked = noted is null ? ["--check"] : ["--check", noted];
        var code = AuditCommand.Run([.. asked, $"--Data:Folder={_folder}"], output, errors);
        return (code, output.ToString(), errors.ToString());
    }
}
