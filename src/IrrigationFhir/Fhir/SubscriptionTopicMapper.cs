using Hl7.Fhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>
/// A topic as R4 can hold it: a Basic with the elements of R5's SubscriptionTopic as cross-version extensions, as the Subscriptions R5
/// Backport guide (1.2) recommends.
/// </summary>
internal static class SubscriptionTopicMapper
{
    private const string Element = "http://hl7.org/fhir/5.0/StructureDefinition/extension-SubscriptionTopic.";
    private const string Types = "http://hl7.org/fhir/StructureDefinition/";

    /// <summary>The resource; its id is the topic's slug.</summary>
    /// <param name="topic">The topic.</param>
    /// <param name="profiles">The base of its URL.</param>
    public static Basic ToBasic(SubscriptionTopic topic, Profiles profiles) =>
        new()
        {
            Id = topic.Slug,
            Extension =
            [
                new(Element + "url", new FhirUri(profiles.SubscriptionTopic(topic.Slug))),
                new(Element + "version", new FhirString(Profiles.Version)),
                new(
                    Element + "name",
                    new FhirString(string.Concat(topic.Slug.Split('-').Select(word => char.ToUpperInvariant(word[0]) + word[1..])))
                ),
                new(Element + "title", new FhirString(topic.Title)),
                new(Element + "date", new FhirDateTime(Profiles.PublishedOn)),
                new(Element + "description", new Markdown(topic.Description)),
                Complex(
                    "resourceTrigger",
                    ("description", new Markdown(topic.Description)),
                    ("resource", new FhirUri(Types + topic.ResourceType)),
                    ("supportedInteraction", new Code("create")),
                    ("supportedInteraction", new Code("update"))
                ),
                .. topic.Filters.Select(filter =>
                    Complex(
                        "canFilterBy",
                        (
                            "description",
                            new Markdown($"As {topic.ResourceType}?{filter}=… or {topic.ResourceType}.{filter}=…; a comma is or.")
                        ),
                        ("resource", new FhirUri(Types + topic.ResourceType)),
                        ("filterParameter", new FhirString(filter))
                    )
                ),
                Complex("notificationShape", ("resource", new FhirUri(Types + topic.ResourceType))),
            ],
            ModifierExtension = [new(Element + "status", new Code("active"))],
            Code = new("http://hl7.org/fhir/fhir-types", "SubscriptionTopic"),
        };

    private static Extension Complex(string element, params IEnumerable<(string Name, DataType Value)> parts) =>
        new() { Url = Element + element, Extension = [.. parts.Select(part => new Extension(part.Name, part.Value))] };
}
