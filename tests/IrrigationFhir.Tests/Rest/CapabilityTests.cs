using Hl7.Fhir.Model;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Store;
using Microsoft.Extensions.DependencyInjection;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Rest;

public class CapabilityTests
{
    // A value of each parameter that finds the resource x below; a parameter that is claimed and not listed here fails the test.
    private static readonly Dictionary<string, string> Finds = new()
    {
        ["_id"] = "x",
        ["_lastUpdated"] = "2026-03-02",
        ["_profile"] = "https://ward.example/profile",
        ["_tag"] = "t|tag",
        ["_security"] = "t|label",
        ["date"] = "2026-03-02T08:50:00Z",
        ["recorded"] = "2026-03-02T08:50:00Z",
        ["patient"] = "1",
        ["subject"] = "Patient/1",
        ["encounter"] = "1",
        ["device"] = "Device/1",
        ["performer"] = "Practitioner/1",
        ["author"] = "Practitioner/1",
        ["agent"] = "Practitioner/1",
        ["based-on"] = "ServiceRequest/1",
        ["derived-from"] = "Observation/y",
        ["has-member"] = "y",
        ["part-of"] = "Procedure/y",
        ["target"] = "Observation/x",
        ["location-name"] = "NORTH 4",
        ["identifier"] = "t|I-x",
        ["acknowledged"] = "2026-03-02T08:52:00Z",
        ["time-to-acknowledge"] = "2||min",
        ["code"] = "t|code",
        ["category"] = "t|category",
        ["method"] = "t|method",
        ["data-absent-reason"] = "t|reason",
        ["component-code"] = "t|part",
        ["combo-code"] = "part",
        ["value-quantity"] = "5||mL",
        ["value-concept"] = "t|value",
        ["priority"] = "t|priority",
        ["component-value-quantity"] = "2||mL",
        ["combo-value-quantity"] = "2||mL",
        ["code-value-quantity"] = "t|code$5||mL",
        ["component-code-value-quantity"] = "part$2||mL",
        ["combo-code-value-quantity"] = "part$2||mL",
        ["end"] = "2026-03-02T08:50:00Z",
        ["url"] = "https://board.example/notify",
        ["criteria"] = "HTTPS://ward.example/Topic",
        ["type"] = "http://hl7.org/fhir/subscription-channel-type|rest-hook",
        ["payload"] = "application/fhir+json",
    };

    private static readonly Dictionary<string, string> Status = new()
    {
        ["Observation"] = "final",
        ["Procedure"] = "in-progress",
        ["Flag"] = "active",
        ["Subscription"] = "requested",
    };

    [Fact]
    public async Task Every_claim_of_the_CapabilityStatement_is_exercised_R_HTTP_14()
    {
        await using var fhir = await FhirOverHttp.Start();
        await fhir.OpenEpisode("night");
        await fhir.Save("night", [.. Everything()]);

        var statement = await fhir.Get<CapabilityStatement>("fhir/metadata");

        Assert.Equal(
            (FHIRVersion.N4_0_1, CapabilityStatementKind.Instance, fhir.Base),
            (statement.FhirVersion!.Value, statement.Kind!.Value, statement.Implementation!.Url)
        );
        Assert.DoesNotContain(statement.Format, format => format!.Contains("xml", StringComparison.Ordinal));
        var resources = statement.Rest.Single().Resource;
        Assert.Equal(
            [.. IndexedTypes.All.Select(type => type.Name), "Patient", "AuditEvent"], // whose claims AuditEventApiTests exercises
            resources.Select(resource => resource.TypeElement!.JsonValue)
        );
        foreach (var resource in resources.Where(resource => (string)resource.TypeElement!.JsonValue! != "AuditEvent"))
        {
            var type = (string)resource.TypeElement!.JsonValue!;
            foreach (var interaction in resource.Interaction)
            {
                var address = interaction.Code switch
                {
                    CapabilityStatement.TypeRestfulInteraction.Read => $"fhir/{type}/x",
                    CapabilityStatement.TypeRestfulInteraction.Vread => $"fhir/{type}/x/_history/1",
                    CapabilityStatement.TypeRestfulInteraction.HistoryInstance => $"fhir/{type}/x/_history",
                    CapabilityStatement.TypeRestfulInteraction.HistoryType => $"fhir/{type}/_history",
                    CapabilityStatement.TypeRestfulInteraction.SearchType => $"fhir/{type}",
                    _ => throw new InvalidOperationException($"{interaction.Code} is claimed and not tested."),
                };
                using var reply = await fhir.Client.GetAsync(address);
                Assert.Equal(200, (int)reply.StatusCode);
            }

            foreach (var operation in resource.Operation)
            {
                var address = operation.Name switch
                {
                    "lastn" => $"fhir/{type}/$lastn?patient=1&code=code",
                    "everything" => $"fhir/{type}/1/$everything",
                    _ => throw new InvalidOperationException($"{operation.Name} is claimed and not tested."),
                };
                Assert.StartsWith("http://hl7.org/fhir/OperationDefinition/", operation.Definition, StringComparison.Ordinal);
                Assert.Contains((await fhir.Get<Bundle>(address)).Entry, entry => entry.Resource!.Id == "x");
            }

            foreach (var include in resource.SearchInclude)
                Assert.Contains(
                    (await Strict($"{type}?_include={include}&_id=x")).Entry,
                    entry => entry.Search!.Mode == Bundle.SearchEntryMode.Include
                );
            foreach (var include in resource.SearchRevInclude.Select(include => include!))
            {
                var isToY =
                    include.StartsWith("Observation", StringComparison.Ordinal) || include.EndsWith(":part-of", StringComparison.Ordinal);
                Assert.Contains(
                    (await Strict($"{type}?_revinclude={include}&_id={(isToY ? "y" : "x")}")).Entry,
                    entry => entry.Search!.Mode == Bundle.SearchEntryMode.Include
                );
            }
        }

        // No claim beside those that are exercised below.
        foreach (var type in IndexedTypes.All)
            Assert.Equal(
                type.Parameters.Select(parameter => parameter.Name),
                resources
                    .Single(resource => (string)resource.TypeElement!.JsonValue! == type.Name)
                    .SearchParam.Select(claimed => claimed.Name)
            );

        foreach (var (type, parameter) in IndexedTypes.All.SelectMany(type => type.Parameters.Select(parameter => (type, parameter))))
        {
            var claim = resources
                .Single(resource => (string)resource.TypeElement!.JsonValue! == type.Name)
                .SearchParam.Single(claimed => claimed.Name == parameter.Name);
            Assert.StartsWith(
                parameter.Own is null ? "http://hl7.org/fhir/SearchParameter/" : Ours.Profiles.CanonicalBase + "/SearchParameter/",
                claim.Definition,
                StringComparison.Ordinal
            );
            var value = parameter.Name == "status" ? Status[type.Name] : Finds[parameter.Name];
            var x = parameter.Name == "value-concept" ? "v" : "x"; // a value is of one type
            await Finds_x($"{parameter.Name}={Uri.EscapeDataString(value)}");
            foreach (var prefix in parameter.Prefixes)
            {
                Assert.Contains(prefix, claim.Documentation!, StringComparison.Ordinal);
                var prefixed = value.Contains('$', StringComparison.Ordinal)
                    ? value.Replace("$", "$" + prefix, StringComparison.Ordinal)
                    : prefix + value;
                var found = await Strict($"{type.Name}?{parameter.Name}={Uri.EscapeDataString(prefixed)}");
                // Asked for the very value it has; only where a part has another value than the whole, every prefix finds one of them or
                // the other.
                var expected =
                    parameter.Name == "combo-value-quantity" ? prefix is not ("lt" or "eb") : prefix is "eq" or "le" or "ge" or "ap";
                Assert.True(found.Entry.Any(entry => entry.Resource!.Id == "x") == expected, $"{type.Name}?{parameter.Name}={prefixed}");
            }

            foreach (var modifier in parameter.Modifiers)
            {
                Assert.Contains(modifier, claim.Documentation!, StringComparison.Ordinal);
                switch (modifier)
                {
                    case ":missing":
                        await Finds_x($"{parameter.Name}:missing=false");
                        Assert.DoesNotContain(
                            (await Strict($"{type.Name}?{parameter.Name}:missing=true")).Entry,
                            entry => entry.Resource!.Id == x
                        );
                        break;
                    case ":exact":
                        var whole = parameter.Name == "criteria" ? "https://ward.example/topic" : "North 4 (invented)";
                        await Finds_x($"{parameter.Name}:exact={Uri.EscapeDataString(whole)}");
                        Assert.DoesNotContain(
                            (await Strict($"{type.Name}?{parameter.Name}:exact={Uri.EscapeDataString(value)}")).Entry,
                            entry => entry.Resource!.Id == "x"
                        );
                        break;
                    case ":not":
                        await Finds_x($"{parameter.Name}:not=nothing");
                        break;
                    case ":text":
                        await Finds_x($"{parameter.Name}:text=word");
                        break;
                    case ":identifier" or ".identifier" or ":Patient.identifier":
                        await Finds_x($"{parameter.Name}{modifier}=r|R-1");
                        break;
                    default:
                        // One of the types it may point at: only the right one finds it.
                        var id =
                            parameter.Name is "derived-from" or "has-member" or "part-of" ? "y"
                            : parameter.Name == "target" ? "x"
                            : "1";
                        var found = await Strict($"{type.Name}?{parameter.Name}{modifier}={id}");
                        Assert.Contains(
                            $"{parameter.Name}{modifier}={id}",
                            Uri.UnescapeDataString(found.SelfLink!.ToString()),
                            StringComparison.Ordinal
                        );
                        break;
                }
            }

            async Task Finds_x(string query)
            {
                var found = await Strict($"{type.Name}?{query}");
                Assert.True(found.Entry.Any(entry => entry.Resource!.Id == x), $"{type.Name}?{query} finds nothing");
                Assert.Contains(parameter.Name, found.SelfLink!.ToString(), StringComparison.Ordinal);
            }
        }

        async Task<Bundle> Strict(string query)
        {
            using var request = new HttpRequestMessage(HttpMethod.Get, "fhir/" + query);
            request.Headers.Add("Prefer", "handling=strict");
            using var reply = await fhir.Client.SendAsync(request);
            return await FhirOverHttp.Read<Bundle>(reply, 200);
        }
    }

    /// <summary>
    /// One resource x of each type in which every claimed parameter has a value, and an Observation and a Procedure y for it to point at.
    /// </summary>
    private static IEnumerable<Resource> Everything()
    {
        static ResourceReference To(string target) => new(target) { Identifier = new("r", "R-1") };
        static CodeableConcept Concept(string code) => new("t", code, "Word for " + code, null);
        static Meta Meta() =>
            new()
            {
                Profile = ["https://ward.example/profile|1.0"],
                Tag = [new("t", "tag", "Word")],
                Security = [new("t", "label", "Word")],
            };
        Quantity Volume(decimal value) =>
            new()
            {
                Value = value,
                System = "http://unitsofmeasure.org",
                Code = "mL",
            };

        yield return StoreOnDisk.Drainage("y", "2026-03-02T08:00:00Z", null, 1);
        yield return new Observation
        {
            Id = "x",
            Meta = Meta(),
            Identifier = [new("t", "I-x")],
            Status = ObservationStatus.Final,
            Category = [Concept("category")],
            Code = Concept("code"),
            Subject = To("Patient/1"),
            Encounter = To("Encounter/1"),
            Effective = new FhirDateTime("2026-03-02T08:50:00Z"),
            Value = Volume(5),
            DataAbsentReason = Concept("reason"),
            Method = Concept("method"),
            Device = To("Device/1"),
            Performer = [To("Practitioner/1")],
            BasedOn = [To("ServiceRequest/1")],
            DerivedFrom = [To("Observation/y")],
            HasMember = [To("Observation/y")],
            PartOf = [To("Procedure/y")],
            Component = [new() { Code = Concept("part"), Value = Volume(2) }],
        };
        var coded = StoreOnDisk.Drainage("v", "2026-03-02T08:00:00Z", null, 1);
        coded.Value = Concept("value");
        yield return coded;
        yield return new Procedure
        {
            Id = "y",
            Status = EventStatus.InProgress,
            Subject = To("Patient/1"),
        };
        yield return new Procedure
        {
            Id = "x",
            PartOf = [To("Procedure/y"), To("Observation/y")],
            Meta = Meta(),
            Identifier = [new("t", "I-x")],
            Status = EventStatus.InProgress,
            Category = Concept("category"),
            Code = Concept("code"),
            Subject = To("Patient/1"),
            Encounter = To("Encounter/1"),
            Performed = new FhirDateTime("2026-03-02T08:50:00Z"),
            BasedOn = [To("ServiceRequest/1")],
            Performer = [new() { Actor = To("Practitioner/1") }],
            Location = new() { Display = "North 4 (invented), room 2, bed 1" },
        };
        yield return new Flag
        {
            Id = "x",
            Meta = Meta(),
            Identifier = [new("t", "I-x")],
            Status = Flag.FlagStatus.Active,
            Category = [Concept("category")],
            Code = Concept("code"),
            Subject = To("Patient/1"),
            Encounter = To("Encounter/1"),
            Author = To("Practitioner/1"),
            Period = new() { Start = "2026-03-02T08:50:00Z", End = "2026-03-02T08:50:00Z" },
            Extension =
            [
                new(IrrigationFhir.Fhir.Profiles.CoreFlagPriority, Concept("priority")),
                new(Ours.Profiles.PartOfIrrigation, To("Procedure/y")),
                new(Ours.Profiles.FlagAcknowledged, new FhirDateTime("2026-03-02T08:52:00Z")),
                new(
                    Ours.Profiles.FlagTimeToAcknowledge,
                    new Quantity
                    {
                        Value = 2,
                        System = "http://unitsofmeasure.org",
                        Code = "min",
                    }
                ),
            ],
        };
        yield return new Provenance
        {
            Id = "x",
            Meta = Meta(),
            Target = [To("Observation/x"), To("Procedure/x"), To("Flag/x"), To("Patient/1")],
            Recorded = DateTimeOffset.Parse("2026-03-02T08:50:00Z", null),
            Agent = [new() { Who = To("Practitioner/1") }],
        };
        yield return new Subscription
        {
            Id = "x",
            Meta = Meta(),
            Status = Subscription.SubscriptionStatus.Requested,
            Reason = "invented",
            Criteria = "https://ward.example/topic",
            End = DateTimeOffset.Parse("2026-03-02T08:50:00Z", null),
            Channel = new()
            {
                Type = Subscription.SubscriptionChannelType.RestHook,
                Endpoint = "https://board.example/notify",
                Payload = "application/fhir+json",
            },
        };
    }

    [Fact]
    public async Task Another_room_adds_its_claims()
    {
        await using var fhir = await FhirOverHttp.Start(services =>
            services.AddSingleton<CapabilityClaim>(statement =>
                statement.Rest[0].Resource[0].SupportedProfile = ["https://ward.example/StructureDefinition/drainage"]
            )
        );

        var statement = await fhir.Get<CapabilityStatement>("fhir/metadata");

        Assert.Equal(["https://ward.example/StructureDefinition/drainage"], statement.Rest[0].Resource[0].SupportedProfile);
    }

    [Fact]
    public void The_zone_of_dates_without_offset_must_be_known()
    {
        var configuration = new Microsoft.Extensions.Configuration.ConfigurationManager { ["Data:TimeZone"] = "Nowhere/Land" };
        var fault = Assert.Throws<SettingsFault>(() => StoreSettings.Read(configuration));
        Assert.Contains("Nowhere/Land", fault.Message, StringComparison.Ordinal);
    }
}
