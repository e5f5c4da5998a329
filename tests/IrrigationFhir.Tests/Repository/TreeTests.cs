using System.Text.RegularExpressions;

namespace IrrigationFhir.Tests.Repository;

/// <summary>The tree as a whole: it belongs to nobody's machine.</summary>
public class TreeTests
{
    [Fact]
    public void No_file_names_a_machine_or_a_package_host()
    {
        string[] machines = ["/(root|work|home|Users)/", "api[.]nuget", "registry[.]npmjs"];
        foreach (var file in Repo.Files(".").Where(file => !file.EndsWith(".gz", StringComparison.Ordinal)))
        {
            var text = Repo.Read(file);
            // A folder of that name below another, or below a variable, is nobody's.
            Assert.All(machines, machine => Assert.False(Regex.IsMatch(text, $@"(?<![\w.$)}}(|]){machine}"), $"{file} names {machine}"));
        }
    }
}
