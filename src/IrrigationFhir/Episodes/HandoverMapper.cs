using System.Security.Cryptography;
using System.Text;
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
    /// <param name="baseAddress">The address of the FHIR base. References are absolute: it is stored nowhere.</param>
    private Composition ToComposition(Handover handover, IReadOnlySet<string> known, string baseAddress) =>
        new()
        {
            Id = IdOf(handover),
            Meta = new() { Profile = [Profiles.Handover] },
            Text = Narratives.Of(Title, Heading(handover)),
            Status = CompositionStatus.Final,
            Type = Codes.HandoverDocument(),
            Subject = FhirValues.Reference(handover.Episode.Definition.Patient),
            Encounter = handover.Episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Date = FhirValues.Time(handover.Flags.AsOf, handover.Episode.Definition.Frame.Zone),
            Author = [FhirValues.Service(Profiles)],
            Title = Title,
            Event =
            [
                .. known.Contains(BladderIrrigationMapper.Whole(handover.Episode).Reference!)
                    ? new Composition.EventComponent[]
                    {
                        new() { Detail = [new($"{baseAddress}/{BladderIrrigationMapper.Whole(handover.Episode).Reference}")] },
                    }
                    : [],
            ],
            Section =
            [
                .. handover.Sections.Select(section => new Composition.SectionComponent
                {
                    Title = section.Title,
                    Code = Codes.Handover(section.Slug),
                    Text = Narratives.Of(null, section.Lines),
                    Entry = [.. section.About.Where(known.Contains).Select(address => new ResourceReference($"{baseAddress}/{address}"))],
                }),
            ],
        };

    /// <summary>The document: the Composition first, then every resource that it points at, once.</summary>
    /// <param name="handover">The handover.</param>
    /// <param name="about">The resources, as stored.</param>
    /// <param name="baseAddress">The address of the FHIR base.</param>
    public Bundle ToDocument(Handover handover, IReadOnlyList<Resource> about, string baseAddress)
    {
        var known = about.Select(resource => $"{resource.TypeName}/{resource.Id}").ToHashSet();
        var composition = SecurityLabels.Labelled(ToComposition(handover, known, baseAddress), handover.Episode);
        return SecurityLabels.Labelled(Document(composition, handover, about, baseAddress), handover.Episode);
    }

    private Bundle Document(Composition composition, Handover handover, IReadOnlyList<Resource> about, string baseAddress) =>
        new()
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
                        // What can be read has its address; the Composition is made for whoever asks, and is stored nowhere.
                        FullUrl = resource == composition ? Uuid(composition.Id!) : $"{baseAddress}/{resource.TypeName}/{resource.Id}",
                        Resource = resource,
                    }),
            ],
        };

    private static string IdOf(Handover handover) => FhirValues.WindowId(handover.Episode.Id, "handover", 'a', handover.Flags.AsOf);

    private const string Title = "Handover of a bladder irrigation";

    /// <summary>Of whom and as of when; what there is to know stands in the sections.</summary>
    private static IEnumerable<string?> Heading(Handover handover)
    {
        var (patient, frame) = (handover.Episode.Definition.Patient, handover.Episode.Definition.Frame);
        yield return patient.Display ?? patient.Identifier?.Value ?? patient.Reference;
        yield return $"As of {FhirValues.Time(handover.Flags.AsOf, frame.Zone)}.";
        yield return Texts.Caution;
    }

    /// <summary>A name-based UUID (RFC 9562, version 8): the same handover has the same one.</summary>
    private static string Uuid(string id)
    {
        var bytes = SHA256.HashData(Encoding.UTF8.GetBytes(id)).AsSpan(0, 16);
        bytes[6] = (byte)((bytes[6] & 0x0F) | 0x80);
        bytes[8] = (byte)((bytes[8] & 0x3F) | 0x80);
        return $"urn:uuid:{new Guid(bytes, bigEndian: true)}";
    }
}
