using Hl7.Fhir.Model;
using IrrigationFhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>Security labels of what was sent, on what is worked out from it (<see cref="SecurityLabel"/>).</summary>
internal sealed class SecurityLabels(Profiles profiles)
{
    private readonly string[] _workedOut =
    [
        profiles.CorrectedUrineOutput,
        profiles.RetainedVolume,
        profiles.UrineOutputRate,
        profiles.UrineOutputCriterion,
    ];

    /// <summary>Puts the labels of an episode on what is worked out; what was sent comes back as it was sent.</summary>
    public IEnumerable<Resource> On(IEnumerable<Resource> resources, Episode episode) =>
        episode.Labels.IsEmpty ? resources : resources.Select(resource => IsWorkedOut(resource) ? Labelled(resource, episode) : resource);

    /// <summary>Puts the labels of an episode on a resource.</summary>
    public static T Labelled<T>(T resource, Episode episode)
        where T : Resource
    {
        if (episode.Labels.IsEmpty)
            return resource;
        resource.Meta ??= new();
        foreach (var label in episode.Labels.Where(label => !Codes.IsTestData(label.System, label.Code)))
        {
            var system = label.System.Length == 0 ? null : label.System;
            if (!resource.Meta.Security.Exists(there => there.System == system && there.Code == label.Code))
                resource.Meta.Security.Add(new(system, label.Code, label.Display));
        }

        return resource;
    }

    private bool IsWorkedOut(Resource resource) =>
        resource is Procedure or Flag || (resource is Observation && resource.Meta?.Profile.Any(_workedOut.Contains) is true);
}
