using System.Collections.Concurrent;
using System.Reflection;
using System.Text.RegularExpressions;
using System.Xml.Linq;

namespace IrrigationFhir.Settings;

/// <summary>Doc comments at run time: what a setting says of itself is what its doc comment says.</summary>
internal static partial class Documentation
{
    private static readonly ConcurrentDictionary<Assembly, Dictionary<string, XElement>> Files = new();

    /// <summary>
    /// The summary of a property, or the comment on the parameter of the record that it comes from; empty where there is none.
    /// </summary>
    public static string Of(PropertyInfo property)
    {
        var type = property.DeclaringType!;
        var members = Files.GetOrAdd(type.Assembly, Read);
        var text =
            members.GetValueOrDefault($"P:{type.FullName}.{property.Name}")?.Element("summary")
            ?? members
                .GetValueOrDefault($"T:{type.FullName}")
                ?.Elements("param")
                .FirstOrDefault(p => p.Attribute("name")?.Value == property.Name);
        return text is null ? "" : Blank().Replace(Plain(text), " ").Trim();
    }

    private static Dictionary<string, XElement> Read(Assembly assembly)
    {
        var file = Path.ChangeExtension(assembly.Location, ".xml"); // lies beside the assembly, built and published
        return File.Exists(file) ? XDocument.Load(file).Descendants("member").ToDictionary(m => m.Attribute("name")!.Value) : [];
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
