using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;
using IrrigationFhir.Validation;

namespace IrrigationFhir.Tests.Validation;

/// <summary>One warmed validator for all tests, and the published examples as fresh copies to spoil.</summary>
internal static class Judged
{
    private static Profiles Profiles => Ours.Profiles;

    private static readonly Lazy<ProfileValidator> Warmed = new(() =>
    {
        var validator = new ProfileValidator(Ours.Vocabulary);
        validator.Warm();
        return validator;
    });

    private static readonly Lazy<IReadOnlyList<Resource>> Published = new(() => Definitions.Examples(Profiles.CanonicalBase));

    public static ProfileValidator Validator => Warmed.Value;

    public static IEnumerable<Resource> Examples => Published.Value.Select(example => example.DeepCopy());

    public static T Example<T>(string slug)
        where T : Resource => (T)Examples.Single(example => example.Id == slug + "-example");

    public static Observation Observation(string slug, Action<Observation> spoil)
    {
        var observation = Example<Observation>(slug);
        spoil(observation);
        return observation;
    }

    public static string[] Keys(Resource resource) => [.. Validator.Validate(resource).Select(fault => fault.Key)];

    public static Observation.ComponentComponent Component(this Observation observation, string slug) =>
        observation.Component.Single(component => component.Code!.Coding[0].Code == slug);
}
