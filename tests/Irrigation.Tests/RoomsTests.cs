using System.Text.RegularExpressions;
using System.Xml.Linq;

namespace Irrigation.Tests;

/// <summary>Who knows whom, read off the sources: no circle, and no arrow back from what is below.</summary>
public partial class RoomsTests
{
    private static readonly string Repository = Root(AppContext.BaseDirectory);
    private static readonly string Source = Path.Combine(Repository, "src");

    private static readonly string[] Doors =
    [
        "Analytics",
        "DripRate",
        "Entries",
        "Episodes",
        "Intake",
        "Package",
        "Subscriptions",
        "Tokens",
    ];

    /// <summary>Room → the rooms that its code names.</summary>
    private static readonly SortedDictionary<string, SortedSet<string>> Knows = Arrows();

    [Fact]
    public void No_room_knows_itself_through_others()
    {
        foreach (var room in Knows.Keys)
            Assert.DoesNotContain(room, Reached(Knows[room]));
    }

    [Fact]
    public void What_publishes_and_what_judges_and_what_keeps_know_neither_one_another_nor_the_main_path()
    {
        string[] below = ["Fhir", "Validation", "Store", "Search", "Problems", "Model"];
        string[] above = ["Record", "Rest", "Settings", "Commands", "Demo", .. Doors];
        Assert.All(below, room => Assert.Empty(Reached(Knows[room]).Intersect(above)));
        Assert.DoesNotContain("Fhir", Knows["Store"]);
        Assert.DoesNotContain("Store", Reached(Knows["Fhir"]));
        Assert.DoesNotContain("Validation", Knows["Store"]);
        Assert.DoesNotContain("Store", Knows["Validation"]);
        Assert.Empty(Knows["Model"]);
    }

    [Fact]
    public void Doors_do_not_know_one_another() => Assert.All(Doors, door => Assert.Empty(Knows[door].Intersect(Doors)));

    [Fact]
    public void The_picture_for_contributors_is_the_one_that_the_sources_draw() =>
        Assert.True(
            File.ReadAllText(Path.Combine(Repository, "DEVELOPERS.md")).Contains(Picture(), StringComparison.Ordinal),
            $"DEVELOPERS.md has to show:\n{Picture()}"
        );

    /// <summary>Every room below those that know it, with the rooms that it knows; what follows from other arrows is left out.</summary>
    private static string Picture()
    {
        var depth = new Dictionary<string, int>();
        int Depth(string room) =>
            depth.TryGetValue(room, out var known) ? known : depth[room] = Knows[room].Select(Depth).DefaultIfEmpty(-1).Max() + 1;
        var lines =
            from room in Knows.Keys
            let direct = Knows[room].Where(other => !Knows[room].Any(third => third != other && Reached(Knows[third]).Contains(other)))
            orderby Depth(room) descending, room
            select $"{room, -13} → {string.Join(", ", direct)}".TrimEnd(' ', '→');
        return $"```text\n{string.Join('\n', lines)}\n```";
    }

    private static HashSet<string> Reached(IEnumerable<string> from)
    {
        var reached = new HashSet<string>();
        var next = new Stack<string>(from);
        while (next.TryPop(out var room))
        {
            if (reached.Add(room))
            {
                foreach (var other in Knows[room])
                    next.Push(other);
            }
        }

        return reached;
    }

    private static SortedDictionary<string, SortedSet<string>> Arrows()
    {
        var rooms = Directory
            .GetDirectories(Path.Combine(Source, "IrrigationFhir"))
            .Select(folder => Path.GetFileName(folder))
            .Where(name => name is not ("bin" or "obj" or "data" or "Profiles"))
            .ToList();
        var knows = rooms.ToDictionary(
            room => room,
            room =>
                Code(Path.Combine("IrrigationFhir", room))
                    .SelectMany(file => NamedRoom().Matches(File.ReadAllText(file)).Select(named => named.Groups[1].Value))
                    .Where(other => other != room && rooms.Contains(other))
                    .ToHashSet()
        );
        return new(
            knows.ToDictionary(pair => pair.Key, pair => new SortedSet<string>(pair.Value, StringComparer.Ordinal)),
            StringComparer.Ordinal
        );
    }

    [Fact]
    public void The_ward_and_the_arithmetic_know_nothing_but_calendars()
    {
        var project = XDocument.Load(Path.Combine(Source, "Irrigation", "Irrigation.csproj"));
        var shipped = project
            .Descendants("PackageReference")
            .Where(p => (string?)p.Attribute("PrivateAssets") != "all")
            .Select(p => (string?)p.Attribute("Include"));
        Assert.Equal(["NodaTime"], shipped);
        Assert.Empty(project.Descendants("ProjectReference").Concat(project.Descendants("FrameworkReference")));
        Assert.All(
            Code("Irrigation"),
            file => Assert.False(File.ReadAllText(file).Contains("IrrigationFhir", StringComparison.Ordinal), Relative(file))
        );
    }

    [Fact]
    public void A_vocabulary_and_its_codes_are_named_in_one_place()
    {
        // What HL7 defines within FHIR itself (http://hl7.org/fhir/…) is the standard's grammar and not a vocabulary of ours.
        string[] vocabularies =
        [
            "loinc.org",
            "snomed.info",
            "unitsofmeasure.org",
            "terminology.hl7.org",
            "urn:iso:std:iso:11073",
            "irrigationfhir.example",
        ];
        string[] places = ["IrrigationFhir/Fhir/Codes.cs", "IrrigationFhir/Fhir/Profiles.cs"];
        foreach (var file in Code("Irrigation").Concat(Code("IrrigationFhir")).Where(f => !places.Contains(Relative(f))))
        {
            var text = File.ReadAllText(file);
            Assert.All(
                vocabularies,
                vocabulary => Assert.False(text.Contains(vocabulary, StringComparison.Ordinal), $"{Relative(file)} names {vocabulary}")
            );
            Assert.All(
                LikeLoinc().Matches(text).Select(m => m.Value),
                code => Assert.False(IsLoinc(code), $"{Relative(file)} holds the LOINC code {code}")
            );
        }
    }

    [Theory]
    [InlineData("9187-6", true)] // 7·2 → 14 → 1+4, 8, 1·2, 9: 5 + 8 + 2 + 9 = 24, and 6 completes 30
    [InlineData("9187-5", false)]
    [InlineData("7886-1", false)] // a standard on syringes
    public void A_LOINC_code_is_told_by_its_check_digit(string code, bool isLoinc) => Assert.Equal(isLoinc, IsLoinc(code));

    /// <summary>LOINC numbers end in a modulus-10 check digit.</summary>
    private static bool IsLoinc(string code)
    {
        var digits = code[..^2].Reverse().Select((c, i) => (c - '0') * (i % 2 == 0 ? 2 : 1)).Sum(d => (d / 10) + (d % 10));
        return (10 - (digits % 10)) % 10 == code[^1] - '0';
    }

    private static IEnumerable<string> Code(string folder) =>
        Directory
            .EnumerateFiles(Path.Combine(Source, folder), "*.cs", SearchOption.AllDirectories)
            .Where(f => !Relative(f).Split('/').Any(part => part is "bin" or "obj"));

    private static string Relative(string file) => Path.GetRelativePath(Source, file).Replace('\\', '/');

    private static string Root(string from) =>
        File.Exists(Path.Combine(from, "IrrigationFhir.sln")) ? from : Root(Directory.GetParent(from)!.FullName);

    [GeneratedRegex(@"\bIrrigationFhir\.(\w+)")]
    private static partial Regex NamedRoom();

    [GeneratedRegex(@"(?<![\w-])\d{3,6}-\d(?![\w-])")]
    private static partial Regex LikeLoinc();
}
