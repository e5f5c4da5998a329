using IrrigationFhir.Access;

namespace IrrigationFhir.Tests.Access;

/// <summary>
/// The grammar of scopes (SMART App Launch 2.2.0, "Scopes for requesting FHIR Resources"; R-ACC-05 to R-ACC-08): what is one, what each
/// grants, and what stands just beside and grants nothing.
/// </summary>
public class ScopeGrammarTests
{
    /// <summary>Every order of letters that the specification has: 31, the subsets of cruds in its order.</summary>
    public static TheoryData<string> EverySubset =>
        [.. Enumerable.Range(1, 31).Select(mask => string.Concat("cruds".Where((_, at) => (mask & (1 << at)) != 0)))];

    [Theory]
    [MemberData(nameof(EverySubset))]
    public void Every_subset_of_the_letters_in_their_order_is_a_scope(string letters)
    {
        foreach (var type in new[] { "Observation", "*" })
        {
            var scope = Scope.Parse($"system/{type}.{letters}");
            Assert.NotNull(scope);
            Assert.Equal((type, $"system/{type}.{letters}"), (scope.Type, scope.ToString()));
            foreach (var letter in "cruds")
                Assert.Equal(letters.Contains(letter), scope.Letters.HasFlag(Named(letter)));
        }
    }

    /// <summary>Every order of two or three letters that is not theirs, and each letter said twice.</summary>
    public static TheoryData<string> OtherOrders =>
        [
            .. (
                from first in "cruds"
                from second in "cruds"
                where "cruds".IndexOf(second, StringComparison.Ordinal) <= "cruds".IndexOf(first, StringComparison.Ordinal)
                select $"{first}{second}"
            ),
            .. (
                from first in "cruds"
                from second in "cruds"
                from third in "cruds"
                let at = new[] { first, second, third }.Select(letter => "cruds".IndexOf(letter, StringComparison.Ordinal)).ToArray()
                where new HashSet<int>(at).Count == 3 && !(at[0] < at[1] && at[1] < at[2])
                select $"{first}{second}{third}"
            ),
        ];

    [Theory]
    [MemberData(nameof(OtherOrders))]
    public void Letters_in_another_order_or_said_twice_are_none(string letters)
    {
        Assert.Null(Scope.Parse($"system/Observation.{letters}"));
        Assert.Null(Scope.Parse($"system/*.{letters}"));
    }

    [Theory]
    [InlineData("system/Observation.read", "rs")]
    [InlineData("system/Observation.write", "cud")]
    [InlineData("system/Observation.*", "cruds")]
    [InlineData("system/*.read", "rs")]
    [InlineData("system/*.write", "cud")]
    [InlineData("system/*.*", "cruds")]
    public void Those_of_the_first_version_mean_what_the_second_says(string text, string letters) =>
        Assert.Equal(letters, Scope.LettersIn(Scope.Parse(text)!.Letters));

    [Theory]
    [InlineData("system/Observation.rs?status=final", "status=final")]
    [InlineData(
        "system/Observation.rs?category=http://terminology.hl7.org/CodeSystem/observation-category|laboratory",
        "category=http://terminology.hl7.org/CodeSystem/observation-category|laboratory"
    )]
    [InlineData("system/Observation.rs?category=http%3A%2F%2Fward.example%7Claboratory", "category=http://ward.example|laboratory")]
    [InlineData("system/Observation.c?status=final&code=1-8", "status=final,code=1-8")]
    [InlineData("system/*.cruds?_tag=a", "_tag=a")]
    [InlineData("system/Observation.rs?a=b=c", "a=b=c")]
    public void A_query_follows_a_question_mark(string text, string pairs) =>
        Assert.Equal(pairs, string.Join(',', Scope.Parse(text)!.Query.Select(pair => $"{pair.Key}={pair.Value}")));

    [Theory]
    // nothing, or not all of it
    [InlineData("")]
    [InlineData(" ")]
    [InlineData("system")]
    [InlineData("system/")]
    [InlineData("system/Observation")]
    [InlineData("system/Observation.")]
    [InlineData("system/.rs")]
    [InlineData("/Observation.rs")]
    [InlineData("Observation.rs")]
    [InlineData(".rs")]
    [InlineData("*.rs")]
    [InlineData("*")]
    [InlineData("system/*")]
    [InlineData("system/*.")]
    [InlineData("system.Observation.rs")]
    [InlineData("system/Observation/rs")]
    [InlineData("system/Observation:rs")]
    [InlineData("system//Observation.rs")]
    [InlineData("system/Observation..rs")]
    // of whom this service knows nothing
    [InlineData("patient/Observation.rs")]
    [InlineData("patient/*.rs")]
    [InlineData("patient/*.read")]
    [InlineData("patient/*.*")]
    [InlineData("user/Observation.rs")]
    [InlineData("user/*.cruds")]
    [InlineData("user/*.write")]
    [InlineData("systems/Observation.rs")]
    [InlineData("system2/Observation.rs")]
    [InlineData("System/Observation.rs")]
    [InlineData("SYSTEM/Observation.rs")]
    [InlineData("agent/Observation.rs")]
    // scopes of other matters
    [InlineData("openid")]
    [InlineData("fhirUser")]
    [InlineData("profile")]
    [InlineData("launch")]
    [InlineData("launch/patient")]
    [InlineData("launch/encounter")]
    [InlineData("offline_access")]
    [InlineData("online_access")]
    [InlineData("smart/orchestrate_launch")]
    // letters that are none, or words that look like them
    [InlineData("system/Observation.dus")]
    [InlineData("system/Observation.x")]
    [InlineData("system/Observation.rsx")]
    [InlineData("system/Observation.xrs")]
    [InlineData("system/Observation.RS")]
    [InlineData("system/Observation.Rs")]
    [InlineData("system/Observation.r s")]
    [InlineData("system/Observation.r,s")]
    [InlineData("system/Observation.r.s")]
    [InlineData("system/Observation.r*")]
    [InlineData("system/Observation.*s")]
    [InlineData("system/Observation.**")]
    [InlineData("system/Observation.Read")]
    [InlineData("system/Observation.READ")]
    [InlineData("system/Observation.reads")]
    [InlineData("system/Observation.rea")]
    [InlineData("system/Observation.readwrite")]
    [InlineData("system/Observation.read.write")]
    [InlineData("system/Observation.writes")]
    [InlineData("system/Observation.search")]
    [InlineData("system/Observation.create")]
    [InlineData("system/Observation.update")]
    [InlineData("system/Observation.delete")]
    [InlineData("system/Observation.crudsx")]
    [InlineData("system/Observation.all")]
    [InlineData("system/Observation.%72s")]
    // types that are none
    [InlineData("system/observation.rs")]
    [InlineData("system/Observation*.rs")]
    [InlineData("system/*Observation.rs")]
    [InlineData("system/**.rs")]
    [InlineData("system/Obs-ervation.rs")]
    [InlineData("system/Observation2.rs")]
    [InlineData("system/Observation,Flag.rs")]
    [InlineData("system/Observation|Flag.rs")]
    [InlineData("system/Observation Flag.rs")]
    [InlineData("system/Observation/1.rs")]
    [InlineData("system/Observation/$lastn.rs")]
    [InlineData("system/$export.rs")]
    [InlineData("system/O.rs")]
    [InlineData("system/Ünterlage.rs")]
    [InlineData("system/%4Fbservation.rs")]
    [InlineData("system/../Observation.rs")]
    // blanks, ends of lines and what a form or a log might make of them
    [InlineData(" system/Observation.rs")]
    [InlineData("system/Observation.rs ")]
    [InlineData("system/Observation.rs\n")]
    [InlineData("system/Observation.rs\nsystem/Flag.rs")]
    [InlineData("system/Observation.rs\t")]
    [InlineData("system/Observation.rs\0")]
    [InlineData("system/Observation.rs;system/Flag.rs")]
    [InlineData("system/Observation.rs,system/Flag.rs")]
    [InlineData("system/Observation.rs+system/Flag.rs")]
    [InlineData("\"system/Observation.rs\"")]
    [InlineData("system%2FObservation.rs")]
    [InlineData("system\\Observation.rs")]
    // queries that are none
    [InlineData("system/Observation.rs?")]
    [InlineData("system/Observation.rs?status")]
    [InlineData("system/Observation.rs?status=")]
    [InlineData("system/Observation.rs?=final")]
    [InlineData("system/Observation.rs?status=final&code")]
    [InlineData("system/Observation.rs?status=final final")]
    [InlineData("system/Observation.rs?status=\"final\"")]
    [InlineData("system/Observation?status=final")]
    [InlineData("system/Observation?status=final.rs")]
    [InlineData("system/Observation.?status=final")]
    [InlineData("system/Observation.rs#status=final")]
    [InlineData("system/Observation.rs&status=final")]
    // the first version has none
    [InlineData("system/Observation.read?status=final")]
    [InlineData("system/Observation.write?status=final")]
    [InlineData("system/Observation.*?status=final")]
    [InlineData("system/*.*?status=final")]
    public void What_stands_just_beside_is_no_scope_and_grants_nothing(string text)
    {
        Assert.Null(Scope.Parse(text));
        var caller = new Caller("client", text.Contains(' ', StringComparison.Ordinal) ? [] : Scope.ReadAll(text));
        Assert.False(caller.Covers(AccessNeeds.Of("Observation", Letters.Read)));
    }

    // R-ACC-08
    [Fact]
    public void A_wildcard_covers_every_type_and_the_record_of_who_did_what_only_whom_it_is_shown_to()
    {
        var caller = new Caller("client", Scope.ReadAll("system/*.rs"));
        foreach (var type in new[] { "Observation", "Flag", "SomethingToCome" })
            Assert.True(caller.Covers(AccessNeeds.Of(type, Letters.Read | Letters.Search)));
        Assert.False(caller.Covers(AccessNeeds.Of("Observation", Letters.Create)));
        Assert.False(caller.Covers(AccessNeeds.Of("AuditEvent", Letters.Read)));
        Assert.True(
            new Caller("auditor", Scope.ReadAll("system/*.rs")) { MayReadAudit = true }.Covers(AccessNeeds.Of("AuditEvent", Letters.Read))
        );
    }

    [Fact]
    public void There_are_two_hundred_of_them_and_more()
    {
        var beside = typeof(ScopeGrammarTests)
            .GetMethod(nameof(What_stands_just_beside_is_no_scope_and_grants_nothing))!
            .GetCustomAttributes(typeof(InlineDataAttribute), inherit: false)
            .Length;
        Assert.True(EverySubset.Count + OtherOrders.Count + beside >= 200, $"{EverySubset.Count} + {OtherOrders.Count} + {beside}");
    }

    private static Letters Named(char letter) =>
        letter switch
        {
            'c' => Letters.Create,
            'r' => Letters.Read,
            'u' => Letters.Update,
            'd' => Letters.Delete,
            _ => Letters.Search,
        };
}
