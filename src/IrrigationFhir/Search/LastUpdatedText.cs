using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Search;

/// <summary><c>meta.lastUpdated</c> as text: always UTC, always six decimals, so that it sorts like the time it says.</summary>
internal static class LastUpdatedText
{
    private static readonly InstantPattern Pattern = InstantPattern.CreateWithInvariantCulture("uuuu'-'MM'-'dd'T'HH':'mm':'ss'.'ffffff'Z'");

    /// <summary>Such as <c>2026-03-29T01:02:03.000456Z</c>.</summary>
    public static string Of(Instant instant) => Pattern.Format(instant);
}
