using System.Text.Json;
using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>What a stored resource points at, read from its JSON without making a model of it.</summary>
internal static class StoredReferences
{
    /// <summary>Its references under the parameters of <see cref="IndexedParameter.Reference.Links"/>, with their numbers.</summary>
    public static HashSet<(int Parameter, ReferenceKey Key)> Links(ReadOnlySpan<byte> json)
    {
        var links = new HashSet<(int, ReferenceKey)>();
        var reader = new Utf8JsonReader(json, new JsonReaderOptions { MaxDepth = FhirJson.MaxDepth });
        reader.Read();
        while (reader.Read() && reader.TokenType == JsonTokenType.PropertyName)
        {
            var parameter = 1;
            foreach (var link in IndexedParameter.Reference.Links)
            {
                if (reader.ValueTextEquals(link.Element))
                    break;
                parameter++;
            }

            reader.Read();
            if (parameter > IndexedParameter.Reference.Links.Count)
            {
                reader.Skip();
                continue;
            }

            while (reader.Read() && reader.TokenType == JsonTokenType.StartObject)
            {
                if (Reference(ref reader) is { } key)
                    links.Add((parameter, key));
            }
        }

        return links;
    }

    private static ReferenceKey? Reference(ref Utf8JsonReader reader)
    {
        string? target = null;
        Hl7.Fhir.Model.Identifier? identifier = null;
        while (reader.Read() && reader.TokenType == JsonTokenType.PropertyName)
        {
            var (isTarget, isIdentifier) = (reader.ValueTextEquals("reference"u8), reader.ValueTextEquals("identifier"u8));
            reader.Read();
            if (isTarget)
                target = reader.GetString();
            else if (isIdentifier)
                identifier = Identifier(ref reader);
            else
                reader.Skip();
        }

        return ReferenceKey.Of(new() { Reference = target, Identifier = identifier });
    }

    private static Hl7.Fhir.Model.Identifier Identifier(ref Utf8JsonReader reader)
    {
        var identifier = new Hl7.Fhir.Model.Identifier();
        while (reader.Read() && reader.TokenType == JsonTokenType.PropertyName)
        {
            var (isSystem, isValue) = (reader.ValueTextEquals("system"u8), reader.ValueTextEquals("value"u8));
            reader.Read();
            if (isSystem)
                identifier.System = reader.GetString();
            else if (isValue)
                identifier.Value = reader.GetString();
            else
                reader.Skip();
        }

        return identifier;
    }
}
