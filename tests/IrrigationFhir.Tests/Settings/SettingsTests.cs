using System.Reflection;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Criteria;
using IrrigationFhir.Settings;
using IrrigationFhir.Store;
using Microsoft.Extensions.Configuration;

namespace IrrigationFhir.Tests.Settings;

/// <summary>What a site may set, how it is told what a setting is, and what it hears when it sets nonsense.</summary>
public class SettingsTests
{
    public static TheoryData<string> Keys => [.. With().All.Select(s => s.Key)];

    [Theory]
    [MemberData(nameof(Keys))]
    public void A_setting_says_what_it_is_for_and_where_its_default_comes_from(string key)
    {
        var setting = With().All.Single(s => s.Key == key);
        Assert.True(setting.Description.Length > 30, setting.Description);
        Assert.Equal(setting.Default, setting.Value);
        if (key.StartsWith("Entries:Most", StringComparison.Ordinal))
            return; // a guard, no figure of the trade
        Assert.Matches(
            "our judgement|Our judgement|[0-9]{4}|from memory|common practice|[Cc]linical reference|in-vitro|nursing texts|published|"
                + "for tests|For a site|for a site|known",
            setting.Description
        );
    }

    [Fact]
    public async Task What_a_setting_is_for_is_said_by_the_program_alone_whatever_lies_beside_it()
    {
        var (copy, here) = (Directory.CreateTempSubdirectory("alone-").FullName, AppContext.BaseDirectory);
        foreach (var file in Directory.EnumerateFiles(here, "*", SearchOption.AllDirectories).Where(f => Path.GetExtension(f) != ".xml"))
        {
            var there = Path.Combine(copy, Path.GetRelativePath(here, file));
            Directory.CreateDirectory(Path.GetDirectoryName(there)!);
            File.Copy(file, there);
        }

        var (code, output, errors) = await ProgramProcess.RunCopy(Path.Combine(copy, "IrrigationFhir.dll"), copy, "settings");
        Directory.Delete(copy, recursive: true);

        Assert.Equal((0, ""), (code, errors));
        Assert.All(With().All, setting => Assert.Contains($"\n    {setting.Description}\n", output, StringComparison.Ordinal));
        Assert.Contains("one more or less at either end of the minute; our judgement.", output, StringComparison.Ordinal);
        Assert.Contains("for clocks that are a little off; our judgement.", output, StringComparison.Ordinal);
    }

    [Theory]
    [InlineData(typeof(MeasuringCharacters))]
    [InlineData(typeof(MeasuringCharacter))]
    [InlineData(typeof(Supposed))]
    [InlineData(typeof(Calibration))]
    [InlineData(typeof(BalanceSettings))]
    [InlineData(typeof(CriteriaSettings))]
    [InlineData(typeof(WeightRange))]
    [InlineData(typeof(ForecastSettings))]
    public void No_figure_is_fixed_in_the_code(Type settings)
    {
        foreach (
            var property in settings
                .GetProperties(BindingFlags.Public | BindingFlags.Instance)
                .Where(p => p.CanWrite && p.Name != nameof(MeasuringCharacter.Source))
        )
        {
            var nested = property.PropertyType.Assembly == typeof(SettingAttribute).Assembly && property.PropertyType.IsClass;
            var list = property.PropertyType.IsGenericType && property.PropertyType.GetGenericArguments().Contains(typeof(Calibration));
            Assert.True(nested || list || property.GetCustomAttribute<SettingAttribute>() is not null, $"{settings.Name}.{property.Name}");
        }
    }

    [Fact]
    public void A_site_sets_its_own_figures()
    {
        var site = With(
            ("Measuring:Pump:Systematic", "0.02"),
            ("Measuring:Pump:Source", "checked 2026-02, ward 7"),
            ("Measuring:Scale:Random", "2 mL"),
            ("Measuring:EmptyBagResidue:Mean", "12.5 mL"),
            ("Measuring:CalibratedBagTypes:lot 7:Factor", "1.0384"),
            ("Measuring:CalibratedBagTypes:lot 7:HalfWidth", "0.0032"),
            ("Balance:ScanReach", "10 min"),
            ("Balance:LongestGap", "4 h"),
            ("Balance:HighestGravityFlow", "5000 mL/h"),
            ("Balance:BestEstimateIsHeadline", "true"),
            ("Criteria:Anuria", "100 mL"),
            ("Criteria:AdultWeight:Low", "30 kg"),
            ("Entries:Most", "500")
        );

        var measuring = site.Balance.Characters;
        Assert.Equal((0.02m, "checked 2026-02, ward 7"), (measuring.Pump.Systematic, measuring.Pump.Source));
        Assert.Equal((2m, "set by the site"), (measuring.Scale.Random, measuring.Scale.Source));
        Assert.Equal(new Supposed(12.5m, 30), measuring.EmptyBagResidue);
        Assert.Equal(new Calibration(1.0384m, 0.0032m), measuring.CalibratedBagTypes["lot 7"]);
        Assert.Equal(
            (10.0, 4.0, 5000m, true),
            (
                site.Balance.ScanReach.TotalMinutes,
                site.Balance.LongestGap.TotalHours,
                site.Balance.HighestGravityFlow.MillilitresPerHour,
                site.Balance.BestEstimateIsHeadline
            )
        );
        Assert.Equal(
            (100m, new WeightRange(30, 400), 500),
            (site.Criteria.Anuria.Millilitres, site.Criteria.AdultWeight, site.Entries.Most)
        );

        // And nothing else has moved.
        Assert.Equal(MeasuringCharacters.Default.BagLabel, measuring.BagLabel);
        Assert.Equal(BalanceSettings.Default.LateAfter, site.Balance.LateAfter);
        Assert.Contains(site.All, s => s is { Key: "Balance:ScanReach", Value: "10 min", Default: "15 min" });
    }

    [Fact]
    public void The_store_reads_its_section_as_the_others_do_and_what_is_empty_keeps_its_default()
    {
        var set = ReadStore(("Data:Folder", "there"), ("Data:TimeZone", "Europe/Berlin"), ("Data:LeastFreeMegabytes", "0"));
        Assert.Equal(("there", "Europe/Berlin", 0), (set.Folder, set.TimeZone.Id, set.LeastFreeMegabytes));
        var unset = ReadStore(("Data:Folder", ""), ("Data:TimeZone", ""), ("Data:LeastFreeMegabytes", ""));
        Assert.Equal(("data", "UTC", 200), (unset.Folder, unset.TimeZone.Id, unset.LeastFreeMegabytes));

        var faults = Assert.Throws<SettingsFault>(() =>
            ReadStore(("Data:Foldr", "there"), ("Data:TimeZone", "Nowhere/Land"), ("Data:LeastFreeMegabytes", "-1"))
        );
        Assert.Equal(
            """
            Data:Foldr: not a setting; Data has EntriesInMemory, Folder, LeastFreeMegabytes, TimeZone
            Data:TimeZone: 'Nowhere/Land'; an IANA zone such as Europe/Berlin is expected
            Data:LeastFreeMegabytes: '-1'; 0 to 1000000 is expected
            """.ReplaceLineEndings(),
            faults.Message
        );

        static StoreSettings ReadStore(params (string Key, string Value)[] settings) =>
            StoreSettings.Read(
                new ConfigurationBuilder().AddInMemoryCollection(settings.ToDictionary(s => s.Key, s => (string?)s.Value)).Build()
            );
    }

    [Fact]
    public void Every_fault_is_named_at_once()
    {
        var faults = Assert.Throws<SettingsFault>(() =>
            With(
                ("Measuring:Pump:Systematic", "5"),
                ("Measuring:Pump:Systemic", "0.05"),
                ("Measuring:Scale:Random", "5"),
                ("Measuring:CalibratedContainers:canister:Factor", "0.917"),
                ("Balance:ScanReach", "15 mins"),
                ("Balance:LongestGap", "6 min"),
                ("Balance:BestEstimateIsHeadline", "perhaps"),
                ("Criteria:RequiredCoverage", "1,0"),
                ("Entries:Most", "0.5")
            )
        );
        Assert.Equal(
            """
            Measuring:Pump:Systematic: '5'; 0 to 1 is expected, such as '0.05'
            Measuring:Pump:Systemic: not a setting; Measuring:Pump has Correction, Random, RandomRelative, Source, Systematic
            Measuring:Scale:Random: '5'; 0 to 2000 mL is expected, such as '5 mL'
            Measuring:CalibratedContainers:canister:HalfWidth: missing
            Balance:BestEstimateIsHeadline: 'perhaps'; true or false is expected, such as 'false'
            Balance:ScanReach: '15 mins'; 0 to 120 min is expected, such as '15 min'
            Balance:LongestGap: '6 min'; 0.5 to 48 h is expected, such as '6 h'
            Criteria:RequiredCoverage: '1,0'; 0.5 to 1 is expected, such as '1'
            Entries:Most: '0.5'; 1 to 1000000 is expected, such as '2000'
            """.ReplaceLineEndings(),
            faults.Message
        );
    }

    [Fact]
    public async Task What_a_site_sets_is_what_its_numbers_rest_on()
    {
        await using var ward = RunningService.Start(
            "2026-03-14T12:00:00Z",
            null,
            ("Measuring:CalibratedContainers:1:Factor", "0.9"),
            ("Measuring:CalibratedContainers:1:HalfWidth", "0"),
            ("Balance:BestEstimateIsHeadline", "true")
        );
        var episode = await ward.Open(RunningService.Episode("E-41", "2026-03-14T08:00:00Z"));
        await ward.Record(
            episode,
            Charted("flow", "flow-set", "08:00", ("rate", 0, "mL/h")),
            Charted("out", "drainage-emptied", "09:00", ("volume", 200, "mL"))
        );
        var output = (await ward.Read($"/episodes/{episode}/balance"))["intervals"]![0]!["correctedUrineOutput"]!;
        Assert.Equal((180m, 180m), ((decimal)output["headline"]!["value"]!, (decimal)output["bestEstimate"]!["value"]!));

        var told = (await ward.Read("/settings")).AsArray().Single(s => (string)s!["key"]! == "Balance:BestEstimateIsHeadline")!;
        Assert.Equal(("true", "false", "true or false"), ((string)told["value"]!, (string)told["default"]!, (string)told["range"]!));
    }

    [Fact]
    public void They_are_printed_and_so_are_their_faults()
    {
        using var output = new StringWriter();
        using var errors = new StringWriter();
        Assert.Equal(0, SettingsCommand.Run(["--Criteria:LowHourly=25 mL"], output, errors));
        Assert.Contains("Criteria:LowHourly = 25 mL   (default 30 mL)   [0 to 500 mL]", output.ToString(), StringComparison.Ordinal);
        Assert.Equal(2, SettingsCommand.Run(["--Criteria:LowHourly=25"], output, errors));
        Assert.Equal("Criteria:LowHourly: '25'; 0 to 500 mL is expected, such as '30 mL'", errors.ToString().Trim());
    }

    private static System.Text.Json.Nodes.JsonObject Charted(
        string id,
        string kind,
        string clock,
        (string Name, decimal Value, string Unit) measured
    ) =>
        new()
        {
            ["source"] = "ward-7",
            ["id"] = id,
            ["kind"] = kind,
            ["at"] = $"2026-03-14T{clock}:00Z",
            [measured.Name] = new System.Text.Json.Nodes.JsonObject { ["value"] = measured.Value, ["unit"] = measured.Unit },
        };

    private static SiteSettings With(params (string Key, string Value)[] settings) =>
        SiteSettings.Read(
            new ConfigurationBuilder().AddInMemoryCollection(settings.ToDictionary(s => s.Key, s => (string?)s.Value)).Build()
        );
}
