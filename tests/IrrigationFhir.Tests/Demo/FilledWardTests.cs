using System.Globalization;
using IrrigationFhir.Analytics;
using IrrigationFhir.Demo;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Store.Sqlite;
using IrrigationFhir.Tests.Analytics;
using NodaTime;

namespace IrrigationFhir.Tests.Demo;

/// <summary><c>demo --ward N</c>: an invented ward to try things on.</summary>
public class FilledWardTests
{
    [Theory]
    [InlineData(1, 7)]
    [InlineData(40, 7)]
    [InlineData(300, 8)]
    public void Stays_come_in_order_nobody_lies_in_two_beds_and_no_two_in_one(int stays, int seed)
    {
        var all = new InventedWard(stays, seed).Stays().ToList();
        Assert.Equal(stays, all.Count);
        Assert.Equal(all.OrderBy(stay => stay.Begin).Select(stay => stay.Number), all.Select(stay => stay.Number));
        var (beds, people) = (new Dictionary<string, string>(), new Dictionary<string, string>());
        foreach (var stay in all)
        {
            Assert.Equal(stay.Arrivals.OrderBy(arrival => arrival.At).Select(arrival => arrival.At), stay.Arrivals.Select(a => a.At));
            var (opened, closed) = (stay.Arrivals[0].Episode!, stay.Arrivals[^1].Episode!);
            Assert.Null(opened["end"]);
            var (start, end) = ((string)closed["start"]!, (string)closed["end"]!);
            AloneIn(beds, opened["location"]!.ToJsonString());
            AloneIn(people, (string)opened["patient"]!["identifier"]!["value"]!);

            void AloneIn(Dictionary<string, string> places, string place)
            {
                Assert.True(string.CompareOrdinal(places.GetValueOrDefault(place, ""), start) < 0, place);
                places[place] = end;
            }
        }
    }

    [Fact]
    public void Everybody_and_everything_in_it_is_plainly_invented()
    {
        foreach (var stay in new InventedWard(40, 1).Stays())
        {
            var opened = stay.Arrivals[0].Episode!;
            Assert.EndsWith("(invented)", (string)opened["patient"]!["display"]!, StringComparison.Ordinal);
            foreach (var identifier in new[] { opened["identifier"], opened["patient"]!["identifier"], opened["encounter"]!["identifier"] })
                Assert.Matches(@"^https://[a-z-]+\.example/", (string)identifier!["system"]!); // RFC 2606
            Assert.All(
                stay.Arrivals.SelectMany(arrival => arrival.Entries ?? []),
                entry => Assert.EndsWith("(invented)", (string)entry!["performer"]!, StringComparison.Ordinal)
            );
        }
    }

    [Fact]
    public void The_same_seed_gives_the_same_ward_and_another_another()
    {
        Assert.Equal(Text(30, 7), Text(30, 7));
        Assert.NotEqual(Text(30, 7), Text(30, 8));
        static string Text(int stays, int seed) =>
            string.Join(
                '\n',
                new InventedWard(stays, seed)
                    .Stays()
                    .SelectMany(stay => stay.Arrivals.Select(arrival => $"{arrival.At} {arrival.Episode}{arrival.Entries}"))
            );
    }

    [Fact]
    public void Something_of_all_that_goes_wrong_on_wards_is_in_it()
    {
        var entries = new InventedWard(60, 7)
            .Stays()
            .SelectMany(stay => stay.Arrivals)
            .SelectMany(arrival => (arrival.Entries ?? []).Select(entry => (arrival.At, Entry: entry!.AsObject())))
            .ToList();
        Assert.Contains(entries, e => (string?)e.Entry["status"] == "entered-in-error");
        Assert.Contains(entries, e => e.Entry["note"] is { } note && ((string)note!).StartsWith("read again", StringComparison.Ordinal));
        Assert.Contains(entries, e => (string?)e.Entry["kind"] == "bag-taken-down" && !e.Entry.ContainsKey("remaining"));
        Assert.Contains(entries, e => (string?)e.Entry["kind"] == "washout-performed");
        Assert.Contains(entries, e => (string?)e.Entry["why"] == "short-return");
        Assert.Contains(entries, e => (string?)e.Entry["kind"] == "closed-system-opened");
        Assert.Contains(
            entries,
            e => e.Entry["at"] is { } at && e.At - NodaTime.Text.InstantPattern.General.Parse((string)at!).Value > Duration.FromHours(1)
        );
    }

    [Fact]
    public async Task It_is_lived_through_by_the_main_path_and_is_the_same_each_time_but_for_ids()
    {
        var rows = new List<List<string>>();
        for (var i = 0; i < 2; i++)
        {
            var folder = Path.Combine(Directory.CreateTempSubdirectory("filled-ward-").FullName, "store");
            using var output = new StringWriter(CultureInfo.InvariantCulture);
            Assert.Equal(0, await FilledWard.Run(["--ward", "3", "--seed=3", "--Data:Folder", folder], output, TextWriter.Null));
            Assert.StartsWith("3 invented irrigations, 5 January 2026 to ", output.ToString(), StringComparison.Ordinal);
            Assert.Contains($"--Data:Folder={folder}", output.ToString(), StringComparison.Ordinal);

            var tables = Directory.CreateTempSubdirectory("export-").FullName;
            var scan = new ResourceScan(() => Dialect.OpenForReading(folder));
            var views = new DomainViews(new Profiles(Profiles.DefaultCanonicalBase));
            await new ExportFolder(scan, views, tables).Run(new("parquet", null, CsvSafe: false), null, CancellationToken.None);
            rows.Add([
                .. Duck.Rows(
                    $"""
                    select patient_id, status, window_kind, started_at::text, ended_at::text, corrected_ml::text, best_ml::text
                    from '{tables}/corrected_output-*.parquet' order by all
                    """
                ),
                .. Duck.Rows(
                    $"""
                    select patient_id, flag, status, priority, raised_at::text, ended_at::text, acknowledged_at::text
                    from '{tables}/flags-*.parquet' order by all
                    """
                ),
            ]);

            // All three irrigations, each over, and not one resource that failed its own profile.
            Assert.Equal(
                "3|3|3",
                Duck.Row(
                    "select count(*)::text, count(ended_at)::text, count(distinct patient_id)::text "
                        + $"from '{tables}/irrigation_episodes-*.parquet'"
                )
            );
            Assert.Equal("0", Withheld(folder));
            var again = await FilledWard.Run(["--ward", "3", "--Data:Folder", folder], TextWriter.Null, TextWriter.Null);
            Assert.Equal(2, again); // it holds something
            Dialect.ReleasePool(folder);
        }

        Assert.NotEmpty(rows[0]);
        Assert.Equal(rows[0], rows[1]);
    }

    [Theory]
    [InlineData("--ward: ''; how many irrigations is expected, 1 to 10,000", "--ward")]
    [InlineData("--ward: '0'; how many irrigations is expected, 1 to 10,000", "--ward=0")]
    [InlineData("--ward: 'many'; how many irrigations is expected, 1 to 10,000", "--ward", "many")]
    [InlineData("--ward: '20000'; how many irrigations is expected, 1 to 10,000", "--ward", "20000")]
    [InlineData("--ward: said twice", "--ward=1", "--ward=2")]
    [InlineData("--seed: 'x'; a whole number is expected", "--ward=1", "--seed", "x")]
    [InlineData("--seed: goes with --ward", "--seed", "1")]
    [InlineData("--once: goes with the story, not with --ward", "--ward=1", "--once")]
    public async Task What_cannot_be_meant_is_refused_and_nothing_is_made(string says, params string[] args)
    {
        var folder = Path.Combine(Path.GetTempPath(), $"filled-ward-{Guid.NewGuid():N}");
        using var errors = new StringWriter(CultureInfo.InvariantCulture) { NewLine = "\n" };
        Assert.Equal(2, await FilledWard.Run([.. args, $"--Data:Folder={folder}"], TextWriter.Null, errors));
        Assert.Equal(says, errors.ToString().Split('\n')[0]);
        Assert.False(Directory.Exists(folder));
    }

    [Fact]
    public async Task A_folder_that_holds_anything_is_left_alone()
    {
        var folder = Directory.CreateTempSubdirectory("filled-ward-").FullName;
        await File.WriteAllTextAsync(Path.Combine(folder, "mine.txt"), "mine");
        using var errors = new StringWriter(CultureInfo.InvariantCulture);
        Assert.Equal(2, await FilledWard.Run(["--ward=1", $"--Data:Folder={folder}"], TextWriter.Null, errors));
        Assert.Contains("is not empty", errors.ToString(), StringComparison.Ordinal);
        Assert.Single(Directory.GetFileSystemEntries(folder));
    }

    private static string Withheld(string folder)
    {
        using var connection = Dialect.OpenForReading(folder);
        using var command = connection.CreateCommand();
        command.CommandText = "select count(*) from withheld";
        return Convert.ToString(command.ExecuteScalar(), CultureInfo.InvariantCulture)!;
    }
}
