namespace IrrigationFhir.Search;

/// <summary>Takes the prefix off a value.</summary>
internal static class PrefixText
{
    /// <summary>The prefix, eq where there is none and null where it is unknown; and the rest.</summary>
    public static (Prefix? Prefix, string Value) Split(string text) =>
        text.Length > 2 && char.IsAsciiLetter(text[0]) ? (Of(text[..2]), text[2..]) : (Prefix.Eq, text);

    private static Prefix? Of(string text) =>
        text switch
        {
            "eq" => Prefix.Eq,
            "ne" => Prefix.Ne,
            "lt" => Prefix.Lt,
            "le" => Prefix.Le,
            "gt" => Prefix.Gt,
            "ge" => Prefix.Ge,
            "sa" => Prefix.Sa,
            "eb" => Prefix.Eb,
            "ap" => Prefix.Ap,
            _ => null,
        };
}
