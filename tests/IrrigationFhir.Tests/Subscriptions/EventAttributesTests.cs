using System.Text.Json;
using Dapper;
using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store.Sqlite;
using IrrigationFhir.Subscriptions;
using Microsoft.Data.Sqlite;

namespace IrrigationFhir.Tests.Subscriptions;

public class EventAttributesTests
{
    private static Profiles Profiles => Ours.Profiles;
    private static Codes Codes => Ours.Codes;

    private const string Priority = Codes.Systems.FlagPriority;

    private static Flag NoDrainage =>
        new()
        {
            Status = Flag.FlagStatus.Active,
            Code = Codes.Flag("no-drainage", "invented"),
            Subject = new("Patient/7/_history/3") { Identifier = new("https://ward.example/patients", "P|7") },
            Extension = [new(Profiles.CoreFlagPriority, Codes.FlagPriority("urgent"))],
        };

    private static Observation Hour =>
        new()
        {
            Subject = new() { Identifier = new() { Value = "P-7" } },
            Category = Codes.OutputCategories("clock-hour"),
        };

    [Fact]
    public void A_flag_is_known_by_patient_code_and_priority() =>
        Assert.Equal(
            [
                ("patient", "Patient/7"),
                ("patient.identifier", @"https://ward.example/patients|P\|7"),
                ("patient.identifier", @"P\|7"),
                ("code", $"{Profiles.CodeSystem("irrigation-flag")}|no-drainage"),
                ("code", "no-drainage"),
                ("priority", $"{Priority}|PH"),
                ("priority", "PH"),
            ],
            EventAttributes.Of(NoDrainage)
        );

    [Fact]
    public void An_output_is_known_by_patient_and_window()
    {
        var attributes = EventAttributes.Of(Hour);
        Assert.Contains(("patient.identifier", "|P-7"), attributes);
        Assert.Contains(("patient.identifier", "P-7"), attributes);
        Assert.Contains(("category", $"{Profiles.CodeSystem("output-window")}|clock-hour"), attributes);
        Assert.DoesNotContain(attributes, attribute => attribute.Parameter is "patient" or "code");
    }

    [Theory]
    [InlineData("Flag?code=no-drainage", true)]
    [InlineData("Flag.code=no-drainage", true)]
    [InlineData("Flag?code=outflow-deficit", false)]
    [InlineData("Flag?code=outflow-deficit,no-drainage", true)] // , is OR
    [InlineData("Flag?code=no-drainage&priority=PL", false)] // & is AND
    [InlineData("Flag?code=no-drainage&priority=PL,PH", true)]
    [InlineData("Flag?priority=http://hl7.org/fhir/flag-priority-code|PH", true)]
    [InlineData("Flag?priority=http%3A%2F%2Fhl7.org%2Ffhir%2Fflag-priority-code%7CPH", true)]
    [InlineData("Flag?patient=Patient/7", true)]
    [InlineData("Flag?patient=7", true)]
    [InlineData("Flag?patient=77", false)]
    [InlineData("Flag?patient=https://elsewhere.example/fhir/Patient/7", false)] // another server's patient
    [InlineData(@"Flag?patient:identifier=https://ward.example/patients|P\|7", true)]
    [InlineData(@"Flag?patient.identifier=P\|7", true)]
    [InlineData(@"Flag.patient.identifier=P\|7", true)]
    [InlineData("Flag?patient.identifier=P|7", false)] // system P, value 7
    [InlineData(@"Flag?patient.identifier=|P\|7", false)] // only without a system
    public void A_filter_lets_pass_what_it_names(string filter, bool passes)
    {
        var (filters, problems) = SubscriptionFilter.Read(filter, Topics.FlagRaised, Ours.Profiles, "here");
        Assert.Empty(problems);
        Assert.Equal(passes, Pass(filters, NoDrainage));
    }

    [Theory]
    [InlineData("Observation?category=clock-hour", true)]
    [InlineData("Observation?category=local-day,shift", false)]
    [InlineData("Observation.category=clock-hour", true)]
    [InlineData("Observation?patient.identifier=|P-7", true)]
    public void An_output_is_chosen_by_its_window(string filter, bool passes)
    {
        var (filters, problems) = SubscriptionFilter.Read(filter, Topics.CorrectedOutputAmended, Ours.Profiles, "here");
        Assert.Empty(problems);
        Assert.Equal(passes, Pass(filters, Hour));
    }

    [Fact]
    public void Without_a_filter_everything_passes() => Assert.True(Pass([], NoDrainage));

    /// <summary>As the store asks it, in the transaction that makes an event.</summary>
    private static bool Pass(IReadOnlyList<SubscriptionFilter> filters, Resource resource)
    {
        var row = StoredRequest.Row(
            "board",
            "active",
            null,
            new(
                Topics.FlagRaised,
                [.. filters],
                new("https://board.lantern-quay.example/"),
                "application/fhir+json",
                PayloadContent.Empty,
                [],
                null,
                null,
                1,
                null
            ),
            LastingAccess.Local
        );
        using var database = new SqliteConnection("Data Source=:memory:");
        return database.ExecuteScalar<bool>(
            $"select {Dialect.Passes("@filters", "@attributes")}",
            new { filters = row.Filters, attributes = JsonSerializer.Serialize(EventAttributes.Compared(resource)) }
        );
    }
}
