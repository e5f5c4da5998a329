using System.Collections.Concurrent;
using System.Diagnostics;
using System.Globalization;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Examples;
using IrrigationFhir.Tests.Repository;
using IrrigationFhir.Validation;
using Task = System.Threading.Tasks.Task;

namespace IrrigationFhir.Tests.Validation;

public class ProfileValidatorTests
{
    private static Profiles Profiles => Ours.Profiles;
    private static Codes Codes => Ours.Codes;

    /// <summary>Every resource of these tests that must be refused, for the comparison with the validator's own entry point.</summary>
    internal static IEnumerable<Resource> Refused =>
        InvariantExamples
            .All.Select(example => example.Breaks())
            .Concat(Spoilings.Select(at => (Resource)Judged.Observation("corrected-urine-output", at.Spoil)));

    public static TheoryData<string> Slugs =>
        [.. Judged.Examples.Select(example => example.Id!.Replace("-example", "", StringComparison.Ordinal))];

    [Theory]
    [MemberData(nameof(Slugs))]
    public void The_published_example_of_a_profile_passes(string slug)
    {
        var example = Judged.Example<Resource>(slug);

        Assert.Equal([Profiles.Canonical(slug)], example.Meta!.Profile);
        Assert.Empty(Judged.Validator.Validate(example));
    }

    [Fact]
    public void Every_profile_has_an_example()
    {
        var profiles = Definitions
            .Own(Profiles.CanonicalBase)
            .OfType<StructureDefinition>()
            .Where(profile => profile.Type != "Extension")
            .Select(profile => profile.Url);
        var claimed = Judged.Examples.SelectMany(example => example.Meta!.Profile);

        Assert.Equal(profiles.Order(StringComparer.Ordinal), claimed.Order(StringComparer.Ordinal));
    }

    [Fact]
    public void A_timed_code_does_not_stand_on_a_preliminary_window() =>
        Assert.Equal(
            ["cuo-timed-code"],
            Judged.Keys(Judged.Observation("corrected-urine-output", output => output.Status = ObservationStatus.Preliminary))
        );

    [Theory]
    [InlineData(1)]
    [InlineData(8)]
    [InlineData(12)]
    [InlineData(24)]
    public void A_window_of_exactly_so_many_hours_carries_its_timed_code_and_unit(int hours) =>
        Assert.Empty(
            Judged.Keys(
                Judged.Observation(
                    "corrected-urine-output",
                    output =>
                    {
                        output.Code = Codes.CorrectedUrineOutput("shift", hours);
                        output.Value = Codes.Quantity(450, Codes.CorrectedUrineOutputUnit(hours));
                        var end = DateTimeOffset.Parse("2026-03-02T06:00:00+01:00", CultureInfo.InvariantCulture).AddHours(hours);
                        ((Period)output.Effective!).EndElement = new FhirDateTime(end);
                    }
                )
            )
        );

    [Fact]
    public void An_output_without_a_value_says_why_and_still_shows_its_parts() =>
        Assert.Empty(
            Judged.Keys(
                Judged.Observation(
                    "corrected-urine-output",
                    output =>
                    {
                        output.Status = ObservationStatus.Preliminary;
                        output.Code = Codes.CorrectedUrineOutput("shift", null);
                        output.Value = null;
                        output.DataAbsentReason = Codes.DataAbsent("temp-unknown");
                        output.DerivedFrom.Clear();
                    }
                )
            )
        );

    private static readonly (string Key, string Where, Action<Observation> Spoil)[] Spoilings =
    [
        ("obs-6", "Observation", output => output.DataAbsentReason = Codes.DataAbsent("error")),
        ("obs-7", "Observation", output => output.Component("caveat").Code!.Coding.Add(output.Code!.Coding[0])),
        (
            "per-1",
            "Observation.effective",
            output =>
                output.Effective = new Period(new FhirDateTime("2026-03-02T14:00:00+01:00"), new FhirDateTime("2026-03-02T06:00:00+01:00"))
        ),
        ("cardinality", "Observation.effective", output => ((Period)output.Effective!).EndElement = null),
        ("cardinality", "Observation", output => output.Subject = null),
        ("cardinality", "Observation", output => output.Category.Clear()),
        ("cardinality", "Observation.component[1].value", output => ((Quantity)output.Component[1].Value!).Value = null),
        (
            "cardinality",
            "Observation.component",
            output => output.Component.Add((Observation.ComponentComponent)output.Component[5].DeepCopy())
        ),
        ("binding", "Observation.status", output => output.Status = ObservationStatus.Registered),
        (
            "binding",
            "Observation.dataAbsentReason",
            output =>
                (output.Code, output.Value, output.DataAbsentReason) = (
                    Codes.CorrectedUrineOutput("shift", null),
                    null,
                    new CodeableConcept(Codes.Systems.DataAbsentReason, "masked")
                )
        ),
        ("binding", "Observation.component[7].value", output => output.Component("caveat").Value = Codes.BalanceTerm("blood")),
        ("pattern", "Observation.method", output => output.Method = Codes.MeasuringWay("scan")),
        ("pattern", "Observation.component[5].value", output => ((Quantity)output.Component[5].Value!).Code = "cc"),
        (
            "slicing",
            "Observation.component[8]",
            output =>
                output.Component.Add(
                    new() { Code = Codes.Component("drop-factor"), Value = Codes.Quantity(20, Codes.Units.DropsPerMillilitre) }
                )
        ),
        ("type", "Observation.effective", output => output.Effective = new FhirDateTime("2026-03-02T14:00:00+01:00")),
        ("type", "Observation.component[1].value", output => output.Component[1].Value = new FhirString("450 mL")),
        (
            "unknown-extension",
            "Observation.extension[0]",
            output => output.AddExtension("https://ward.example/extension", new FhirString("x"))
        ),
        (
            "unknown-extension",
            "Observation.component[5].value.extension[1]",
            output => output.Component[5].Value!.AddExtension("https://ward.example/extension", new FhirString("x"))
        ),
        (
            "unknown-profile",
            "Observation",
            output => output.Meta!.Profile = [Profiles.CorrectedUrineOutput, "https://ward.example/profile"]
        ),
        ("reference-target", "Observation.subject", output => output.Subject = new("Practitioner/n-0001")),
        ("reference-target", "Observation.derivedFrom[2]", output => output.DerivedFrom.Add(new("Patient/p-0001"))),
        ("value", "Observation.id", output => output.Id = "no spaces in an id"),
    ];

    public static TheoryData<int> Spoilt => [.. Enumerable.Range(0, Spoilings.Length)];

    [Theory]
    [MemberData(nameof(Spoilt))]
    public void A_spoilt_output_is_refused_at_the_spoilt_place(int spoiling)
    {
        var (key, where, spoil) = Spoilings[spoiling];
        var faults = Judged.Validator.Validate(Judged.Observation("corrected-urine-output", spoil));

        Assert.Equal([(key, where)], faults.Select(fault => (fault.Key, fault.Where)));
    }

    [Fact]
    public void A_volume_in_a_unit_of_the_kitchen_is_refused_by_every_profile_that_measures_one()
    {
        foreach (var example in Judged.Examples.OfType<Observation>().Where(example => example.Value is Quantity))
        {
            ((Quantity)example.Value!).Code = "cc";
            Assert.Contains(Judged.Keys(example), key => key is "binding" or "pattern");
        }
    }

    [Fact]
    public void A_logical_reference_by_identifier_or_by_name_alone_passes() =>
        Assert.Empty(
            Judged.Keys(
                Judged.Observation(
                    "corrected-urine-output",
                    output =>
                    {
                        output.Subject = new() { Identifier = new("https://ward.example/patients", "P-0002") };
                        output.Encounter = new() { Identifier = new("https://ward.example/stays", "S-0002") };
                        output.Performer.Add(new() { Display = "Night nurse, an invention" });
                        output.Device = new() { Type = "Device", Identifier = new("https://ward.example/pumps", "pump-7") };
                    }
                )
            )
        );

    [Fact]
    public void A_reference_to_a_contained_resource_that_is_not_there_is_refused() =>
        Assert.Equal(["ref-1"], Judged.Keys(Judged.Observation("corrected-urine-output", output => output.Performer.Add(new("#nobody")))));

    [Fact]
    public void A_profile_may_be_claimed_with_its_version_and_only_with_that()
    {
        Assert.Empty(Judged.Keys(Judged.Observation("leak-estimated", leak => leak.Meta!.Profile = [Profiles.LeakEstimated + "|1.0.0"])));
        Assert.Empty(
            Judged.Keys(
                Judged.Observation(
                    "leak-estimated",
                    leak => leak.Meta!.Profile = ["http://hl7.org/fhir/StructureDefinition/Observation|4.0.1"]
                )
            )
        );
        Assert.Equal(
            ["unknown-profile"],
            Judged.Keys(Judged.Observation("leak-estimated", leak => leak.Meta!.Profile = [Profiles.LeakEstimated + "|2.0.0"]))
        );
    }

    [Theory]
    [InlineData("http://hl7.org/fhir/StructureDefinition/Resource")]
    [InlineData("http://hl7.org/fhir/StructureDefinition/DomainResource|4.0.1")]
    public void A_claim_that_is_true_of_any_resource_leaves_its_type_to_decide(string profile)
    {
        Assert.Empty(Judged.Keys(Judged.Observation("leak-estimated", leak => leak.Meta!.Profile = [profile])));
        Assert.Equal(
            ["cardinality"],
            Judged.Keys(Judged.Observation("leak-estimated", leak => (leak.Meta!.Profile, leak.Code) = ([profile], null!)))
        );
    }

    [Theory]
    [InlineData("http://hl7.org/fhir/StructureDefinition/Observation#Observation.referenceRange", "unknown-profile")]
    [InlineData("http://hl7.org/fhir/StructureDefinition/Observation#Observation.referenceRange|4.0.1", "unknown-profile")]
    [InlineData("|4.0.1", "unknown-profile value")]
    [InlineData("not a canonical", "unknown-profile value")]
    public void A_claim_that_is_no_profile_is_a_fault_and_nothing_worse(string profile, string keys) =>
        Assert.Equal(keys.Split(' '), Judged.Keys(Judged.Observation("leak-estimated", leak => leak.Meta!.Profile = [profile])).Distinct());

    [Theory]
    [InlineData("Practitioner/n-0001", false)]
    [InlineData("https://ward.example/fhir/Practitioner/n-0001/_history/2", false)]
    [InlineData("Patient/p-0001/_history/1", true)]
    [InlineData("https://ward.example/fhir/Patient/p-0001", true)]
    [InlineData("urn:uuid:6f0d7b0e-5a5c-4c4e-9d0a-1f4d1c1f8a11", true)]
    [InlineData("https://ward.example/who/knows/what", true)]
    [InlineData("http://[", true)]
    public void A_literal_reference_is_refused_only_if_it_names_a_type_that_does_not_belong(string literal, bool passes) =>
        Assert.Equal(
            passes ? [] : ["reference-target"],
            Judged.Keys(Judged.Observation("leak-estimated", leak => leak.Subject = new(literal)))
        );

    [Fact]
    public void A_resource_that_claims_no_profile_is_judged_by_its_type()
    {
        Assert.Empty(
            Judged.Keys(
                new Observation
                {
                    Status = ObservationStatus.Final,
                    Code = new() { Text = "urine colour" },
                }
            )
        );
        Assert.Equal(["cardinality"], Judged.Keys(new Observation { Status = ObservationStatus.Final }));
        Assert.Equal(["type"], Judged.Keys(new Slot { Status = Slot.SlotStatus.Free }));
    }

    [Fact]
    public void A_procedure_claiming_an_observation_profile_is_refused()
    {
        var irrigation = Judged.Example<Procedure>("bladder-irrigation");
        irrigation.Meta!.Profile = [Profiles.LeakEstimated];

        Assert.Equal(["type"], Judged.Keys(irrigation));
    }

    [Fact]
    public void A_correction_is_an_update_or_a_nullification_of_a_revised_entity()
    {
        var correction = Judged.Example<Provenance>("correction");
        correction.Activity = Codes.Nullified();
        Assert.Empty(Judged.Keys(correction));

        correction.Activity = new CodeableConcept(Codes.Systems.DataOperation, "CREATE");
        Assert.Equal(["binding"], Judged.Keys(correction));

        correction.Activity = Codes.Revised();
        correction.Entity[0].Role = Provenance.ProvenanceEntityRole.Source;
        Assert.Equal(["pattern"], Judged.Keys(correction));
    }

    [Fact]
    public void What_fails_its_profile_is_parted_from_what_may_be_published()
    {
        var good = Judged.Example<Observation>("leak-estimated");
        var bad = Judged.Observation("leak-estimated", leak => leak.Value = null);

        WrittenResource[] written = [new(bad, FhirJson.WriteUtf8(bad)), new(good, FhirJson.WriteUtf8(good))];

        // By a full judgement, and then by the shape.
        for (var i = 0; i < 3; i++)
        {
            var faults = Judged.Validator.Validate(written);
            Assert.Equal(["ifh-value-or-reason"], faults[0].Select(fault => fault.Key));
            Assert.Empty(faults[1]);
        }
    }

    /// <summary>
    /// Half from threads of their own that begin together, half from the thread pool, which a judgement that waits for another
    /// would use up. Cold rules compile their invariants meanwhile.
    /// </summary>
    [Theory]
    [InlineData(true)]
    [InlineData(false)]
    public async Task Ten_thousand_resources_of_every_kind_are_judged_rightly_by_many_threads_at_once(bool cold)
    {
        const int Threads = 16;
        const int Each = 10_000 / (2 * Threads);
        var cases = Verdicts().ToList();
        Func<Resource, IReadOnlyList<ProfileFault>> judge = cold
            ? new ProfileRules([.. Definitions.Own(Profiles.CanonicalBase), .. Definitions.OfR4()]).Judge
            : Judged.Validator.Validate;
        var wrong = new ConcurrentQueue<string>();
        using var start = new Barrier(Threads);

        var pooled = Enumerable.Range(0, Threads * Each).Select(at => Task.Run(() => JudgeOne(at)));
        var own = Enumerable
            .Range(0, Threads)
            .Select(thread =>
                Task.Factory.StartNew(
                    () =>
                    {
                        start.SignalAndWait();
                        for (var at = 0; at < Each; at++)
                            JudgeOne((thread * Each) + at);
                    },
                    CancellationToken.None,
                    TaskCreationOptions.LongRunning,
                    TaskScheduler.Default
                )
            );

        await Task.WhenAll([.. own, .. pooled]).WaitAsync(TimeSpan.FromMinutes(5));
        Assert.True(wrong.IsEmpty, string.Join('\n', wrong.Distinct().Take(20)));

        void JudgeOne(int at)
        {
            // A thread judges what it alone holds, as the service does.
            var (what, resource, expected) = cases[at % cases.Count];
            var keys = string.Join(' ', judge((Resource)resource.DeepCopy()).Select(fault => fault.Key));
            if (keys != expected)
                wrong.Enqueue($"{what}: '{keys}' instead of '{expected}'");
        }
    }

    /// <summary>
    /// What passes, what breaks one rule, and every example under the profile of every other; each with the keys of its faults.
    /// </summary>
    private static IEnumerable<(string What, Resource Resource, string Keys)> Verdicts()
    {
        foreach (var example in Judged.Examples)
            yield return (example.Id!, example, "");
        foreach (var file in ExamplesTests.Resources())
            yield return (file, FhirJson.Read<Resource>(Repo.Read(file)), "");
        foreach (var invariant in InvariantExamples.All)
        {
            yield return ($"{invariant} kept", invariant.Keeps(), "");
            yield return ($"{invariant} broken", invariant.Breaks(), invariant.Key);
        }

        foreach (var (key, where, spoil) in Spoilings)
            yield return (where, Judged.Observation("corrected-urine-output", spoil), key);
        foreach (var example in Judged.Examples)
        {
            foreach (var other in Judged.Examples.Where(other => other.Id != example.Id))
            {
                var claiming = (Resource)example.DeepCopy();
                claiming.Meta!.Profile = [.. other.Meta!.Profile];
                var keys = string.Join(' ', Judged.Keys(claiming));
                Assert.NotEqual("", keys);
                yield return ($"{example.Id} as {other.Id}", claiming, keys);
            }
        }
    }

    [Fact]
    public void Readiness_turns_green_after_the_warm_up()
    {
        var validator = new ProfileValidator(Ours.Vocabulary);
        Assert.False(validator.IsReady);

        validator.Warm();

        Assert.True(validator.IsReady);
    }

    [Fact]
    public void The_rules_are_built_and_every_profile_judged_once_well_before_a_probe_gives_up()
    {
        var watch = Stopwatch.StartNew();
        var rules = new ProfileRules([.. Definitions.Own(Profiles.CanonicalBase), .. Definitions.OfR4()]);
        Assert.All(Judged.Examples, example => Assert.Empty(rules.Judge(example)));

        // The promise is ten seconds on two idle cores; a build machine is busy with other tests.
        Assert.InRange(watch.Elapsed, TimeSpan.Zero, TimeSpan.FromSeconds(40));
    }

    [Fact]
    public void Nothing_is_read_from_the_specification_on_disk()
    {
        // The tests have it beside them, for a judge that is none of ours; the service has not.
        var built = Path.Combine(Repo.Root, "src", "IrrigationFhir", "bin");
        Assert.Empty(Directory.GetFiles(built, "specification*.zip", SearchOption.AllDirectories));

        // Every type reachable from a resource is judged: a timing, a ratio, a narrative, a signature.
        var observation = new Observation
        {
            Status = ObservationStatus.Final,
            Code = new() { Text = "any" },
            Text = new() { Status = Narrative.NarrativeStatus.Generated, Div = "<div xmlns=\"http://www.w3.org/1999/xhtml\">any</div>" },
            Effective = new Timing { Repeat = new() { Count = 3 } },
            Value = new Ratio { Numerator = Codes.Quantity(1, Codes.Units.Gram), Denominator = Codes.Quantity(1, Codes.Units.Hour) },
            Note =
            [
                new()
                {
                    Text = new("any"),
                    Author = new ResourceReference { Display = "any" },
                },
            ],
            ReferenceRange = [new() { Low = Codes.Quantity(1, Codes.Units.Gram) }],
        };
        Assert.Empty(Judged.Validator.Validate(observation));
        observation.ReferenceRange[0].Low = null;
        Assert.Equal(["obs-3"], Judged.Keys(observation)[..1]);
    }
}
