namespace IrrigationFhir.Rest;

/// <summary>What the service says of itself wherever it shows a number.</summary>
internal static class Texts
{
    /// <summary>The caution that goes with every answer.</summary>
    public const string Caution =
        "Numbers prompt a person to look at the patient; they diagnose nothing and command nothing. Local protocol, the order and licensed practice prevail.";
}
