using System.Reflection;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Rest;
using IrrigationFhir.Search;
using IrrigationFhir.Store;

namespace IrrigationFhir.Tests.Search;

public class IndexedTypesTests
{
    private static Profiles Profiles => Ours.Profiles;

    /// <summary>Stores hold these numbers: add a new one, and change none.</summary>
    [Fact]
    public void What_stands_for_a_type_or_a_parameter_in_a_store_stands_for_it_for_ever()
    {
        Assert.Equal(
            ["1 Observation", "2 Procedure", "3 Flag", "4 Provenance", "5 Subscription"],
            IndexedTypes.All.Select(type => $"{type.Number} {type.Name}")
        );
        Assert.Equal(
            [("derived-from", "derivedFrom"), ("has-member", "hasMember"), ("target", "target")],
            IndexedParameter.Reference.Links
        );
        Assert.Equal(114_913_582_424_833, PatientNumber.Of("qmo5y6ggjhuvhc6xpeod3ri2"));
    }

    [Fact]
    public void Each_parameter_of_the_specification_is_named_typed_and_pointed_as_there_R_SRCH_09()
    {
        var own =
            from type in IndexedTypes.All
            from parameter in type.Parameters
            where parameter.Own is null && !parameter.Name.StartsWith('_')
            select (type, parameter);
        foreach (var (type, parameter) in own)
        {
            var published = ModelInfo.SearchParameters.SingleOrDefault(known =>
                known.Resource == type.Name && known.Name == parameter.Name
            );
            Assert.True(published is not null, $"{type.Name} has no {parameter.Name} in R4");
            Assert.Equal(published.Type, OwnSearchParameters.TypeOf(parameter));
            Assert.Equal(published.Url, parameter.Definition);
            if (parameter is IndexedParameter.Reference reference)
                Assert.All(
                    reference.Targets,
                    target =>
                        Assert.True(
                            published.Target!.Length == 0
                                || published.Target.Any(known => known.ToString() == target)
                                || published.Target.Length > 100,
                            $"{parameter.Name} cannot point at {target}"
                        )
                );
        }
    }

    [Theory]
    // What a reader of this service needs of each type; names as R4 publishes them, but for six of Flag and the place
    // of a Procedure, which it lacks.
    [InlineData(
        "Observation",
        "identifier patient subject encounter code category date status device derived-from has-member based-on "
            + "value-quantity value-concept component-code component-value-quantity component-code-value-quantity code-value-quantity "
            + "combo-code combo-value-quantity combo-code-value-quantity data-absent-reason _id _lastUpdated _profile _tag"
    )]
    [InlineData(
        "Flag",
        "author date encounter identifier patient subject status code category priority acknowledged time-to-acknowledge part-of"
    )]
    [InlineData("Procedure", "code date identifier patient status subject part-of location-name")]
    [InlineData("Provenance", "patient recorded target agent")]
    [InlineData("Subscription", "url status criteria type payload end")]
    public void The_least_that_can_be_searched_by_is_there_R_SRCH_09(string type, string names) =>
        Assert.Subset(IndexedTypes.Find(type)!.Parameters.Select(parameter => parameter.Name).ToHashSet(), names.Split(' ').ToHashSet());

    [Fact]
    public void The_parameters_of_ours_are_published_as_resources_R_SRCH_10()
    {
        var published = OwnSearchParameters.All(Ours.Profiles).ToList();

        Assert.Equal(
            [
                ("location-name", "Procedure.location.display"),
                ("status", "Flag.status"),
                ("code", "Flag.code"),
                ("category", "Flag.category"),
                ("priority", "Flag.extension.where(url.endsWith('/StructureDefinition/flag-priority')).value.ofType(CodeableConcept)"),
                ("acknowledged", "Flag.extension.where(url.endsWith('/StructureDefinition/flag-acknowledged')).value.ofType(dateTime)"),
                (
                    "time-to-acknowledge",
                    "Flag.extension.where(url.endsWith('/StructureDefinition/flag-time-to-acknowledge')).value.ofType(Quantity)"
                ),
                ("part-of", "Flag.extension.where(url.endsWith('/StructureDefinition/part-of-irrigation')).value.ofType(Reference)"),
                ("end", "Subscription.end"),
            ],
            published.Select(parameter => (parameter.Code!, parameter.Expression!))
        );
        Assert.Equal(
            [
                "procedure-location-name",
                "flag-status",
                "flag-code",
                "flag-category",
                "flag-priority",
                "flag-acknowledged",
                "flag-time-to-acknowledge",
                "flag-part-of",
                "subscription-end",
            ],
            published.Select(parameter => parameter.Id)
        );
        Assert.All(
            published,
            parameter =>
            {
                Assert.Equal($"{Profiles.CanonicalBase}/SearchParameter/{parameter.Id}", parameter.Url);
                Assert.DoesNotContain(
                    ModelInfo.SearchParameters,
                    known => known.Resource == parameter.Expression!.Split('.')[0] && known.Name == parameter.Code
                );
                FhirJson.Read<SearchParameter>(FhirJson.Write(parameter));
            }
        );
    }

    [Fact]
    public void Every_unit_that_is_written_can_be_compared_R_SRCH_06()
    {
        var units = typeof(Codes.Units)
            .GetProperties(BindingFlags.Public | BindingFlags.Static)
            .Select(unit => unit.GetValue(null))
            .OfType<UcumUnit>()
            .Select(unit => unit.Code)
            .ToList();

        Assert.NotEmpty(units);
        Assert.All(units, unit => Assert.True(IndexedQuantity.IsConverted(unit), $"{unit} is not in the table of IndexedQuantity"));
    }
}
