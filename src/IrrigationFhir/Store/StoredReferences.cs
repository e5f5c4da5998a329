using System.Text.Json;
using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>What the JSON of a stored resource alone tells, read without making a model of it.</summary>
/// <param name="Links">Its references under the parameters of <see cref="IndexedParameter.Reference.Links"/>, with their numbers.</param>
/// <param name="Identifiers">Its identifiers.</param>
internal sealed record StoredReferences(HashSet<(int Parameter, ReferenceKey Key)> Links, HashSet<Token> Identifiers)
{
    /// <summary>Of no resource.</summary>
    public static StoredReferences None => new([], []);

    /// <summary>Of a resource as it was written here.</summary>
    public static StoredReferences Of(ReadOnlySpan<byte> json)
    {
        var (links, identifiers) = (new HashSet<(int, ReferenceKey)>(), new HashSet<Token>());
        var reader = new Utf8JsonReader(json, new JsonReaderOptions { MaxDepth = FhirJson.MaxDepth });
        reader.Read();
        while (reader.Read() && reader.TokenType == JsonTokenType.PropertyName)
        {
            var (isIdentifier, parameter) = (reader.ValueTextEquals("identifier"u8), 1);
            foreach (var link in IndexedParameter.Reference.Links)
            {
                if (reader.ValueTextEquals(link.Element))
                    break;
                parameter++;
            }

            reader.Read();
            if (!isIdentifier && parameter > IndexedParameter.Reference.Links.Count)
            {
                reader.Skip();
                continue;
            }

            while (reader.Read() && reader.TokenType == JsonTokenType.StartObject)
            {
                if (isIdentifier)
                {
                    if (Identifier(ref reader) is { Value.Length: > 0 } identifier)
                        identifiers.Add(new(identifier.System ?? "", identifier.Value));
                }
                else if (Reference(ref reader) is { } key)
                    links.Add((parameter, key));
            }
        }

        return new(links, identifiers);
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
