using IrrigationFhir.Access;
using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.Access;

/// <summary>The example of a client, as its page shows it: a key of its own, a registration, a token, and where it ends.</summary>
public sealed class ExampleClientTests : IDisposable
{
    private const string Folder = "fhir-examples/access";

    private readonly string _folder = Directory.CreateTempSubdirectory("client-").FullName;

    public void Dispose() => Directory.Delete(_folder, recursive: true);

    [SkippableFact]
    public async Task The_client_registers_gets_a_token_and_does_what_its_page_says()
    {
        Skip.IfNot(Shell.IsThere && Shell.Has("openssl"), $"{Shell.Absent}, and openssl");
        var key = ("KEY", Path.Combine(_folder, "client-key.pem"));
        var registered = Path.Combine(_folder, "registered.json");
        await File.WriteAllTextAsync(registered, await Shell.Run("./client.sh register", Folder, key));
        Assert.Equal(await File.ReadAllTextAsync(registered), await Shell.Run("./client.sh register", Folder, key)); // the key stays
        if (!OperatingSystem.IsWindows())
            Assert.Equal(UnixFileMode.UserRead | UnixFileMode.UserWrite, File.GetUnixFileMode(key.Item2));

        // By the system's clock, as the client's.
        await using var service = await ProgramProcess.Serve(_folder, "--Access:Mode=own", $"--Access:ClientsFile={registered}");
        var said = await Shell.Run("./client.sh call", Folder, key, ("BASE", service.Http.BaseAddress!.ToString().TrimEnd('/')));
        Assert.Contains($"```text\n{said}```", Repo.Read($"{Folder}/README.md"), StringComparison.Ordinal);
    }

    [Fact]
    public void The_file_of_clients_is_one_that_the_service_takes_and_publishes_no_key()
    {
        var settings = new AccessSettings { Mode = AccessMode.Own, Facilities = ["north-wing"] };
        var file = Path.Combine(_folder, "clients.json");
        File.Copy(Repo.PathOf($"{Folder}/clients.json"), file);
        var clients = Registrations.Read(file, settings);
        Assert.Equal(3, clients.All.Count);
        Assert.All(clients.All, client => Assert.Empty(client.Keys));
        Assert.Null(clients.Find("data-protection-officer"));
        Assert.All(Repo.Files(Folder), name => Assert.DoesNotContain("PRIVATE KEY", Repo.Read(name), StringComparison.Ordinal));
    }
}
