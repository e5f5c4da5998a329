namespace IrrigationFhir;

/// <summary>What the service says of itself wherever it shows a number.</summary>
internal static class Texts
{
    /// <summary>The caution that goes with every answer.</summary>
    public const string Caution =
        "Numbers prompt a person to look at the patient; they diagnose nothing and command nothing. "
        + "Local protocol, the order and licensed practice prevail.";

    /// <summary>That what was charted is implausible, for a person.</summary>
    /// <param name="says">What was seen and what could be.</param>
    public static string Implausible(string says) => $"Implausible: {says.TrimEnd('.')}. It is counted as charted: confirm or correct it.";

    /// <summary>Why a number is taken back that nobody found wrong.</summary>
    public const string PublishedOtherwise =
        "Not found wrong: since an upgrade of the service this is published otherwise, and stands no longer beside what took its place.";

    /// <summary>That a number is doubted, for a person, with what is to be done about it.</summary>
    /// <param name="says">What was seen and what could be.</param>
    public static string Doubted(string says) =>
        $"Doubted: {says.TrimEnd('.')}. It counts in the sum and in no decision until somebody confirms or corrects the reading.";
}
