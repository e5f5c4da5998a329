using System.Text.RegularExpressions;
using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.Access;

/// <summary>
/// The requirements of access control, by their rows: of scopes and requests (after SMART App Launch 2.2.0 and its conformance
/// statements), and of the endpoint that issues tokens. Each is named beside a test of it.
/// </summary>
public partial class RequirementRowsTests
{
    /// <summary>Number and matter of each row.</summary>
    public static TheoryData<string, string> Rows =>
        new()
        {
            { "01", "where clients find the token endpoint, whatever they accept" },
            { "02", "what is said there" },
            { "03", "capabilities that are claimed, and those that are not" },
            { "04", "every call but the open ones needs a good token whose scopes cover it" },
            { "05", "the grammar of scopes" },
            { "06", "what each letter lets do" },
            { "07", "patient/ is narrowed to the patient that a claim names, or refused; user/ is refused" },
            { "08", "a wildcard covers every type, the record of who did what only for whom it is registered" },
            { "09", "batch and transaction are judged entry by entry" },
            { "10", "asked in so many words is refused, not mentioned is left out" },
            { "11", "scopes with a query are kept to, or grant nothing" },
            { "12", "what lasts is judged whenever it acts" },
            { "13", "absent and forbidden look the same" },
            { "14", "TLS 1.2 or newer outside this machine" },
            { "20", "the request for a token" },
            { "21", "the assertion" },
            { "22", "an assertion serves once" },
            { "23", "keys of clients" },
            { "24", "keys that are fetched" },
            { "25", "what is granted, and how refusals are told" },
            { "26", "the answer with a token" },
            { "27", "the token" },
            { "28", "the file of clients" },
            { "29", "the keys that tokens are signed with" },
            { "30", "introspection and revocation are not offered" },
        };

    [Theory]
    [MemberData(nameof(Rows))]
    public void Each_row_is_named_beside_a_test(string row, string matter)
    {
        var named = Directory
            .GetFiles(Path.Combine(Repo.Root, "tests", "IrrigationFhir.Tests", "Access"), "*Tests.cs")
            .Where(file => Path.GetFileName(file) != $"{nameof(RequirementRowsTests)}.cs")
            .SelectMany(file => File.ReadAllText(file).Split("\n\n"))
            .Any(part => part.Contains($"R-ACC-{row}", StringComparison.Ordinal) && Tests().IsMatch(part));
        Assert.True(named, $"R-ACC-{row}, {matter}: no test names it");
    }

    [GeneratedRegex(@"\[Fact|\[Theory|class \w+Tests\b")]
    private static partial Regex Tests();
}
