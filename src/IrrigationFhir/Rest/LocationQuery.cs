using Irrigation.Episodes;

namespace IrrigationFhir.Rest;

/// <summary>Where a patient lies, as it is asked for: ward, ward|room or ward|room|bed.</summary>
internal static class LocationQuery
{
    /// <summary>Reads it; all null where nothing is asked for, or where <paramref name="problems"/> has grown.</summary>
    public static (string? Ward, string? Room, string? Bed) Read(string? location, List<EntryProblem> problems)
    {
        if (location is null)
            return default;
        var parts = location.Split('|');
        if (parts.Length <= 3 && parts.All(part => part.Length > 0))
            return (parts[0], parts.ElementAtOrDefault(1), parts.ElementAtOrDefault(2));
        problems.Add(EntryProblem.UnknownWord("location", location, ["ward", "ward|room", "ward|room|bed"]));
        return default;
    }
}
