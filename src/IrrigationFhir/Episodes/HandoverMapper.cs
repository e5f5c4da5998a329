using System.Net;
using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Episodes;

/// <summary>A handover as a Composition, and as a document with what it points at.</summary>
internal sealed class HandoverMapper(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;
    private Codes Codes { get; } = vocabulary.Codes;

    /// <summary>The Composition.</summary>
    /// <param name="handover">The handover.</param>
    /// <param name="known">Addresses that the document holds: others are not pointed at.</param>
    public Composition ToComposition(Handover handover, IReadOnlySet<string> known) =>
        new()
        {
            Id = IdOf(handover),
            Meta = new() { Profile = [Profiles.Handover] },
            Status = CompositionStatus.Final,
            Type = Codes.Handover("handover"),
            Subject = FhirValues.Reference(handover.Episode.Definition.Patient),
            Encounter = handover.Episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Date = FhirValues.Time(handover.Flags.AsOf, handover.Episode.Definition.Frame.Zone),
            Author = [new() { Display = "IrrigationFhir" }],
            Title = "Handover of a bladder irrigation",
            Section =
            [
                .. handover.Sections.Select(section => new Composition.SectionComponent
                {
                    Title = section.Title,
                    Code = Codes.Handover(section.Slug),
                    Text = new() { Status = Narrative.NarrativeStatus.Generated, Div = Div(section) },
                    Entry = [.. section.About.Where(known.Contains).Select(address => new ResourceReference(address))],
                }),
            ],
        };

    /// <summary>The document: the Composition first, then every resource that it points at, once.</summary>
    /// <param name="handover">The handover.</param>
    /// <param name="about">The resources, as stored.</param>
    /// <param name="baseAddress">The address of the FHIR base.</param>
    public Bundle ToDocument(Handover handover, IReadOnlyList<Resource> about, string baseAddress)
    {
        var composition = ToComposition(handover, about.Select(resource => $"{resource.TypeName}/{resource.Id}").ToHashSet());
        return new()
        {
            Id = composition.Id,
            Type = Bundle.BundleType.Document,
            Identifier = new($"{Profiles.CanonicalBase}/NamingSystem/handover", composition.Id),
            Timestamp = handover.Flags.AsOf.ToDateTimeOffset(),
            Entry =
            [
                .. about
                    .Prepend(composition)
                    .Select(resource => new Bundle.EntryComponent
                    {
                        FullUrl = $"{baseAddress}/{resource.TypeName}/{resource.Id}",
                        Resource = resource,
                    }),
            ],
        };
    }

    private static string IdOf(Handover handover) => FhirValues.WindowId(handover.Episode.Id, "handover", 'a', handover.Flags.AsOf);

    private static string Div(HandoverSection section)
    {
        var paragraphs = string.Concat(section.Lines.Select(line => $"<p>{WebUtility.HtmlEncode(line.Trim())}</p>"));
        return $"<div xmlns=\"http://www.w3.org/1999/xhtml\">{paragraphs}</div>";
    }
}
