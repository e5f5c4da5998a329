using System.Net;
using Hl7.Fhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>
/// The narrative of what people open, by one template: what it is called, then a paragraph for each thing that is said. Nothing stands in
/// it that the elements do not say.
/// </summary>
/// <remarks>
/// Only these tags, without attributes, and text that is escaped: <see cref="Validation.ShapeReader"/> knows the form, and a test compares
/// the two.
/// </remarks>
internal static class Narratives
{
    /// <summary>How the template begins.</summary>
    public const string Opens = "<div xmlns=\"http://www.w3.org/1999/xhtml\">";

    /// <summary>How it ends.</summary>
    public const string Closes = "</div>";

    /// <summary>A narrative that was generated from the elements.</summary>
    /// <param name="title">What it is called; null in a section, which has a title.</param>
    /// <param name="paragraphs">What is said; empty ones are left out.</param>
    public static Narrative Of(string? title, IEnumerable<string?> paragraphs) =>
        new()
        {
            Status = Narrative.NarrativeStatus.Generated,
            Div =
                Opens
                + (title is null ? "" : $"<p><b>{Text(title)}</b></p>")
                + string.Concat(paragraphs.Where(said => !string.IsNullOrWhiteSpace(said)).Select(said => $"<p>{Text(said!)}</p>"))
                + Closes,
        };

    private static string Text(string said) => WebUtility.HtmlEncode(said.Trim());
}
