using System.Text;
using System.Text.Json.Nodes;
using IrrigationFhir.Commands;
using IrrigationFhir.Fhir;
using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.Commands;

/// <summary>What somebody gets who mistypes, asks for help, or sets nonsense: a sentence, and nothing started or written.</summary>
public class CommandLineTests
{
    private static readonly Command[] Known =
    [
        new("compute", "<log.json>", "Computes.", _ => Task.FromResult(10)),
        new("demo", "[--once]", "Shows.", _ => Task.FromResult(11)) { BesideSettings = ["--once"], WithValue = ["--ward"] },
    ];

    [Theory]
    [InlineData("demoo", "demoo: not a command; did you mean demo? --help lists what there is")]
    [InlineData("xyzzy", "xyzzy: not a command; --help lists what there is")]
    [InlineData("--prot 8080", "--prot: not an option; did you mean --http_ports? --help lists what there is")]
    [InlineData("--url=http://localhost:8080", "--url: not an option; did you mean --urls? --help lists what there is")]
    [InlineData("--Folder=/data", "--Folder: not an option; did you mean --Data:Folder? --help lists what there is")]
    [InlineData("--Dta:Folder=/data", "--Dta:Folder: not an option; did you mean --Data:Folder? --help lists what there is")]
    [InlineData("--Data=x", "--Data: not an option; did you mean --Data:Folder? --help lists what there is")]
    [InlineData("-v", "-v: not an option; --help lists what there is")]
    [InlineData("--Data:Folder", "--Data:Folder: a value is expected, as --Data:Folder=value")]
    [InlineData("--Data:Folder --urls=http://*:80", "--Data:Folder: a value is expected, as --Data:Folder=value")]
    [InlineData("--Data:Folder=a b", "b: not expected here; settings are given as --Section:Key=value, --help says more")]
    [InlineData("urls=http://*:80", "urls=http://*:80: not a command; --help lists what there is")]
    [InlineData("demo --wrad 20", "--wrad: not an option; did you mean --ward? --help lists what there is")]
    [InlineData("demo --ward 20 30", "30: not expected here; settings are given as --Section:Key=value, --help says more")]
    [InlineData("demo --onec", "--onec: not an option; did you mean --once? --help lists what there is")]
    public async Task What_is_not_known_is_an_error_with_a_hint_and_starts_nothing(string args, string says)
    {
        Assert.Equal((2, "", says), await Run(args.Split(' ')));
    }

    [Theory]
    [InlineData("", 1)]
    [InlineData("--Data:Folder=x --Data:TimeZone UTC --Flags:Scales:ward:Grades=5 --Balance:ScanReach=10 --OTEL_SERVICE_NAME=ward", 1)]
    [InlineData("--urls http://*:80 --environment=Production --contentRoot=/ --ALLOWEDHOSTS=* --Kestrel:Limits:KeepAliveTimeout=1", 1)]
    [InlineData("--Logging:Console:LogLevel:Default=Debug", 1)]
    [InlineData("--Data= --Logging= --Logging:LogLevel= --Logging:LogLevel:Default=Warning", 1)]
    [InlineData("compute anything --at-all", 10)]
    [InlineData("demo --once --Data:TimeZone=UTC", 11)]
    [InlineData("demo --ward 20 --Data:TimeZone=UTC", 11)]
    [InlineData("demo --ward=20", 11)]
    [InlineData("demo --ward", 11)]
    public async Task Settings_of_the_service_and_of_its_host_and_what_a_command_takes_are_let_through(string args, int code)
    {
        Assert.Equal((code, "", ""), await Run(args.Split(' ', StringSplitOptions.RemoveEmptyEntries)));
    }

    [Theory]
    [InlineData("--help")]
    [InlineData("-h")]
    [InlineData("help")]
    [InlineData("--Data:Folder=x --help")]
    public async Task Help_names_every_command_and_how_to_set_something(string args)
    {
        var (code, output, errors) = await Run(args.Split(' '));
        Assert.Equal((0, ""), (code, errors));
        string[] named = ["compute <log.json>", "demo [--once]", "Shows.", "--urls=", "--Data:Folder=", "--version", "Exit code"];
        Assert.All(named, name => Assert.Contains(name, output, StringComparison.Ordinal));
    }

    [Fact]
    public async Task Help_of_a_command_and_the_version_start_nothing_either()
    {
        Assert.Equal((0, "usage: IrrigationFhir compute <log.json>\n\nComputes.", ""), await Run("compute", "--help"));
        var (code, output, _) = await Run("--version");
        Assert.Equal(0, code);
        Assert.Matches(@"^IrrigationFhir \d+\.\d+\.\d+", output);
    }

    [Fact]
    public async Task Every_command_of_the_program_is_in_its_help()
    {
        await InAFolder(async folder =>
        {
            var (code, output, errors) = await ProgramProcess.Run(folder, "--help");
            Assert.Equal((0, ""), (code, errors));
            foreach (var command in new[] { "compute", "demo", "health", "package", "settings" })
                Assert.Contains($"\n  {command} ", output, StringComparison.Ordinal);
        });
    }

    [Fact]
    public async Task A_stray_word_ends_the_program_before_it_makes_its_folder()
    {
        await InAFolder(async folder =>
        {
            Assert.Equal((2, "", "serve: not a command; --help lists what there is\n"), await ProgramProcess.Run(folder, "serve"));
            Assert.Empty(Directory.EnumerateFileSystemEntries(folder));
        });
    }

    [Fact]
    public async Task Bad_settings_of_all_sections_are_named_together_with_exit_code_2_and_no_stack_trace()
    {
        await InAFolder(async folder =>
        {
            await File.WriteAllTextAsync(Path.Combine(folder, "a-file"), "");
            var (code, output, errors) = await ProgramProcess.Run(
                folder,
                "--Data:TimeZone=Nowhere/Land",
                "--Data:Folder=a-file/data",
                "--Data:Floder=x",
                "--Fhir:DefaultCount=many",
                "--Fhir:CanonicalBase=ward",
                "--Fhir:BaseUrI=https://ward.example",
                "--Access:Mode=closed",
                "--Access:Burst=0",
                "--Access:Client=x.json",
                "--Intake:MostAtOnce=0",
                "--Intake:ConceptMap=nowhere.json",
                "--Subscriptions:AllowLoopback=perhaps",
                "--Subscriptions:Timeout=soon",
                "--Subscriptions:AllowedHosts=ward.example",
                "--Measuring:Pump:Systematic=5",
                "--Balance:ScanReach=15 mins",
                "--Criteria:LowHourly=25",
                "--Flags:Nothing=1",
                "--Entries:Most=0.5",
                "--urls=nowhere",
                "--Logging:LogLevel:Default=Loud",
                "--AllowedHosts=http://ward.example"
            );

            Assert.Equal((2, ""), (code, output));
            const string fhir = "Fhir has BaseUrl, BodySeconds, CanonicalBase, CompressReplies, DefaultCount, MaxBodyBytes, MaxCount";
            const string access =
                "Access has AlertPatientsPerHour, AllowLoopback, Audience, AuditKeep, Burst, CertificateAuthorities, "
                + "ClientAuthorities, ClientsFile, ExportsAtOnce, Facilities, FacilityClaim, FailuresPerMinute, Issuer, KeyFile, Mode, "
                + "OpenToNetwork, PatientClaim, PatientSystem, PlainHttp, PrivateNetworks, Proxies, RequestsPerSecond, TokenSeconds, "
                + "TokensPerMinute, ViewRunsAtOnce";
            const string unread = "'nowhere.json' cannot be read (FileNotFoundException)";
            Assert.Equal(
                $"""
                Data:Floder: not a setting; Data has EntriesInMemory, Folder, LeastFreeMegabytes, TimeZone
                Data:TimeZone: 'Nowhere/Land'; an IANA zone such as Europe/Berlin is expected
                Data:Folder: 'a-file/data', but '{Path.Combine(folder, "a-file")}' is a file; a folder is expected
                Fhir:BaseUrI: not a setting; {fhir}
                Fhir:DefaultCount: 'many'; a whole number is expected
                Fhir:CanonicalBase: 'ward'; an absolute http or https URL without query or fragment is expected
                Access:Client: not a setting; {access}
                Access:Mode: 'closed'; one of open, tokens, own is expected
                Access:Burst: 0; 1 to 1000000 is expected
                Intake:MostAtOnce: 0; 1 to 4096 is expected
                Intake:ConceptMap: {unread}; the path of a FHIR R4 ConceptMap in JSON is expected
                Subscriptions:AllowedHosts: 'ward.example'; a list, each value under its number (…:0, …:1), is expected
                Subscriptions:AllowLoopback: 'perhaps'; true or false is expected
                Subscriptions:Timeout: 'soon'; a time such as 00:00:10 is expected
                """.ReplaceLineEndings("\n"),
                string.Join('\n', errors.Split('\n').TakeWhile(line => !line.StartsWith("Measuring", StringComparison.Ordinal)))
            );
            string[] others =
            [
                "Measuring:Pump:Systematic",
                "Balance:ScanReach",
                "Criteria:LowHourly",
                "Flags:Nothing",
                "Entries:Most",
                "urls",
                "Logging:LogLevel:Default",
                "AllowedHosts",
            ];
            Assert.All(others, key => Assert.Contains($"\n{key}: ", errors, StringComparison.Ordinal));
            Assert.DoesNotContain("   at ", errors, StringComparison.Ordinal);
            Assert.Equal(["a-file"], Directory.EnumerateFileSystemEntries(folder).Select(Path.GetFileName));
        });
    }

    [Theory]
    [InlineData("package")]
    [InlineData("demo")]
    [InlineData("settings")]
    public async Task A_command_names_bad_settings_as_the_service_does(string command)
    {
        await InAFolder(async folder =>
        {
            await File.WriteAllTextAsync(Path.Combine(folder, "appsettings.json"), """{"Fhir": {"MaxCount": 0}}""");
            var (code, _, errors) = await ProgramProcess.Run(folder, command == "package" ? [command, "p.tgz"] : [command]);
            Assert.Equal(2, code);
            Assert.Equal("Fhir:MaxCount: 0; 1 to 10000 is expected\nFhir:DefaultCount: 100; 1 to Fhir:MaxCount (0) is expected\n", errors);
            Assert.Equal(["appsettings.json"], Directory.EnumerateFileSystemEntries(folder).Select(Path.GetFileName));
        });
    }

    [Fact]
    public async Task A_site_has_a_canonical_base_of_its_own_and_no_other_is_said()
    {
        await InAFolder(async folder =>
        {
            await using var service = await ProgramProcess.Serve(folder, "--Fhir:CanonicalBase=https://lantern-quay.example/fhir/");
            async Task<string> Send(string address, string path, string type)
            {
                // Its senders speak its words; those of anybody else would come back as they were sent.
                var body = Repo.Read(path)
                    .Replace(Profiles.DefaultCanonicalBase, "https://lantern-quay.example/fhir", StringComparison.Ordinal);
                using var content = new ByteArrayContent(Encoding.UTF8.GetBytes(body));
                content.Headers.ContentType = new(type);
                using var reply = await service.Http.PostAsync(new Uri(address, UriKind.Relative), content);
                var text = await reply.Content.ReadAsStringAsync();
                Assert.True(reply.IsSuccessStatusCode, text);
                return text;
            }

            var opened = await Send("/episodes", "fhir-examples/a-night/episode.json", "application/json");
            var episode = (string)JsonNode.Parse(opened)!["id"]!;
            var recorded = await Send($"/episodes/{episode}/entries", "fhir-examples/a-night/entries.ndjson", "application/x-ndjson");
            Assert.Contains("\"withheld\":[]", recorded, StringComparison.Ordinal);
            await Send("/fhir/Observation", "fhir-examples/intake/bladder-scan.json", "application/fhir+json");
            string[] addresses = ["/fhir/metadata", "/fhir/Observation?_count=1000", "/fhir/Flag", "/fhir/Procedure", "/nowhere"];
            foreach (var address in addresses)
            {
                using var reply = await service.Http.GetAsync(new Uri(address, UriKind.Relative));
                var text = await reply.Content.ReadAsStringAsync();
                Assert.DoesNotContain("irrigationfhir.example", text, StringComparison.Ordinal);
                Assert.True(text.Contains("https://lantern-quay.example/fhir/", StringComparison.Ordinal), $"{address}: {text}");
            }
        });
    }

    private static async Task InAFolder(Func<string, Task> test)
    {
        var folder = Directory.CreateTempSubdirectory("command-").FullName;
        try
        {
            await test(folder);
        }
        finally
        {
            Directory.Delete(folder, recursive: true);
        }
    }

    private static async Task<(int Code, string Output, string Errors)> Run(params string[] args)
    {
        using var output = new StringWriter { NewLine = "\n" };
        using var errors = new StringWriter { NewLine = "\n" };
        var code = await CommandLine.Run(args, Known, _ => Task.FromResult(1), output, errors);
        return (code, output.ToString().TrimEnd('\n'), errors.ToString().TrimEnd('\n'));
    }
}
