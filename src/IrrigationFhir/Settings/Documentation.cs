using System.ComponentModel;
using System.Reflection;
using System.Text.RegularExpressions;
using System.Xml.Linq;
using Irrigation;

namespace IrrigationFhir.Settings;

/// <summary>
/// What a setting says of itself: its <see cref="DescriptionAttribute"/>, or for a figure of the arithmetic its doc comment, which the
/// build embeds (<c>IrrigationFhir.csproj</c>, EmbedExplanations). Nothing is looked for beside the program.
/// </summary>
internal static partial class Documentation
{
    private const string Comments = "Explanations/Irrigation.xml";

    private static readonly Lazy<Dictionary<string, XElement>> Members = new(Read);

    /// <summary>
    /// The description, the summary, or the comment on the parameter of the record that a property comes from; empty where there is none.
    /// </summary>
    public static string Of(PropertyInfo property)
    {
        if (property.GetCustomAttribute<DescriptionAttribute>() is { } said)
            return said.Description;
        var type = property.DeclaringType!;
        if (type.Assembly != typeof(SettingAttribute).Assembly)
            return "";
        var text =
            Members.Value.GetValueOrDefault($"P:{type.FullName}.{property.Name}")?.Element("summary")
            ?? Members
                .Value.GetValueOrDefault($"T:{type.FullName}")
                ?.Elements("param")
                .FirstOrDefault(p => p.Attribute("name")?.Value == property.Name);
        return text is null ? "" : Blank().Replace(Plain(text), " ").Trim();
    }

    private static Dictionary<string, XElement> Read()
    {
        using var comments = typeof(Documentation).Assembly.GetManifestResourceStream(Comments)!;
        return XDocument.Load(comments).Descendants("member").ToDictionary(m => m.Attribute("name")!.Value);
    }

    private static string Plain(XElement text) =>
        string.Concat(
            text.Nodes()
                .Select(node =>
                    node switch
                    {
                        XText words => words.Value,
                        XElement { Name.LocalName: "see" } see => see.Attribute("cref")?.Value.Split('.')[^1] ?? "",
                        XElement inner => Plain(inner),
                        _ => "",
                    }
                )
        );

    [GeneratedRegex(@"\s+")]
    private static partial Regex Blank();
}
