using System.Text.RegularExpressions;
using System.Xml.Linq;

namespace Irrigation.Tests;

/// <summary>Who may know whom, read off the sources. A new arrow is a decision: it is drawn here first.</summary>
public partial class RoomsTests
{
    private static readonly string Source = Path.Combine(Root(AppContext.BaseDirectory), "src");

    /// <summary>Room → the rooms that its code names. Store and Fhir do not know one another; nobody knows Demo.</summary>
    private static readonly Dictionary<string, string[]> Service = new()
    {
        ["Commands"] = ["Settings", "Store"],
        ["Demo"] = ["Entries", "Episodes", "Fhir", "Settings"],
        ["Entries"] = ["Episodes", "Fhir", "Rest", "Store"],
        ["Episodes"] = ["Entries", "Fhir", "Health", "Rest", "Store"],
        ["Fhir"] = ["Episodes", "Health"],
        ["Health"] = ["Store"],
        ["Intake"] = ["Entries", "Episodes", "Fhir", "Rest", "Store"],
        ["Package"] = ["Fhir", "Intake", "Rest"],
        ["Rest"] = ["Episodes", "Fhir", "Search", "Store"],
        ["Search"] = ["Rest", "Store"],
        ["Settings"] = ["Entries", "Fhir", "Health", "Intake", "Rest", "Store", "Subscriptions"], // to check them all at once
        ["Store"] = [],
        ["Subscriptions"] = ["Fhir", "Health", "Intake", "Rest", "Search", "Store"],
    };

    [Fact]
    public void Each_room_of_the_service_knows_only_the_rooms_it_may()
    {
        var rooms = Directory
            .GetDirectories(Path.Combine(Source, "IrrigationFhir"))
            .Select(Path.GetFileName)
            .Where(name => name is not ("bin" or "obj" or "data" or "Profiles"));
        Assert.Equal(Service.Keys.Order(StringComparer.Ordinal), rooms.Order(StringComparer.Ordinal));

        var arrows =
            from room in Service.Keys
            from file in Code(Path.Combine("IrrigationFhir", room))
            from Match named in NamedRoom().Matches(File.ReadAllText(file))
            let other = named.Groups[1].Value
            where Service.ContainsKey(other) && other != room
            select (Room: room, Other: other, File: file);
        Assert.All(
            arrows,
            arrow =>
                Assert.True(Service[arrow.Room].Contains(arrow.Other), $"{Relative(arrow.File)}: {arrow.Room} does not know {arrow.Other}")
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
