using System.Text.Json.Nodes;

namespace IrrigationFhir.Demo;

/// <summary>A story that the demo lives through.</summary>
/// <param name="Slug">What it is asked for by.</param>
/// <param name="Title">What its table is headed with.</param>
/// <param name="Patient">The invented patient, as a search names them.</param>
/// <param name="Episode">The episode as it is opened, with its end once it has one.</param>
/// <param name="AsCharted">The entries in the order in which they were charted.</param>
/// <param name="LookAt">A moment at which its handover is worth a look.</param>
/// <param name="Handover">When the charts are read: by then the last entries have been charted.</param>
/// <param name="End">When the irrigation ended.</param>
internal sealed record InventedStory(
    string Slug,
    string Title,
    string Patient,
    Func<string?, JsonObject> Episode,
    Func<IEnumerable<JsonArray>> AsCharted,
    string LookAt,
    string Handover,
    string End
)
{
    /// <summary>All of them; the first unless another is asked for.</summary>
    public static IReadOnlyList<InventedStory> All { get; } = [InventedNight.Story, InventedDay.Story];
}
