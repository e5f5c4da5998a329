using System.Text.Json.Nodes;

namespace IrrigationFhir.Demo;

/// <summary>What the invented stories are made of, as a ward system would send it.</summary>
internal static class Invented
{
    /// <summary>A catheter by its description.</summary>
    public static JsonObject Catheter(string type, decimal french, int lumens) =>
        new()
        {
            ["type"] = type,
            ["size"] = Quantity(french, "[Ch]"),
            ["lumens"] = lumens,
        };

    /// <summary>An episode, on ward 7 unless said otherwise.</summary>
    /// <param name="irrigation">Its number.</param>
    /// <param name="patient">The patient's number.</param>
    /// <param name="name">The patient's name; says that it is invented.</param>
    /// <param name="encounter">The encounter's number.</param>
    /// <param name="born">Date of birth.</param>
    /// <param name="room">The room.</param>
    /// <param name="bed">The bed.</param>
    /// <param name="reason">Why the bladder is irrigated.</param>
    /// <param name="catheter">The catheter.</param>
    /// <param name="start">When the balance begins.</param>
    /// <param name="end">When it ended, once it has.</param>
    /// <param name="ward">The ward.</param>
    public static JsonObject Episode(
        string irrigation,
        string patient,
        string name,
        string encounter,
        string born,
        string room,
        string bed,
        string reason,
        JsonObject catheter,
        string start,
        string? end,
        string ward = "Ward 7"
    ) =>
        new()
        {
            ["identifier"] = Identifier("irrigations", irrigation),
            ["patient"] = new JsonObject { ["identifier"] = Identifier("patients", patient), ["display"] = name },
            ["encounter"] = new JsonObject { ["identifier"] = Identifier("encounters", encounter) },
            ["birthDate"] = born,
            ["location"] = new JsonObject
            {
                ["ward"] = ward,
                ["room"] = room,
                ["bed"] = bed,
            },
            ["reason"] = reason,
            ["catheter"] = catheter,
            ["timeZone"] = "Europe/Vienna",
            ["shiftStarts"] = new JsonArray("07:00", "19:00"),
            ["start"] = start,
            ["end"] = end,
        };

    /// <summary>An entry that was charted in the minute in which it happened, unless <paramref name="content"/> says otherwise.</summary>
    /// <param name="kind">Its kind.</param>
    /// <param name="clock">By the clock, for its id.</param>
    /// <param name="at">The same with its date.</param>
    /// <param name="performer">Who; says that it is invented.</param>
    /// <param name="content">The rest.</param>
    public static JsonNode Entry(string kind, string clock, string at, string performer, (string Name, JsonNode? Value)[] content)
    {
        var entry = new JsonObject
        {
            ["source"] = "ward-7",
            ["id"] = $"{kind}-{clock.Replace(":", "", StringComparison.Ordinal)}",
            ["kind"] = kind,
            ["at"] = at,
            ["recordedAt"] = at.Replace(":00+", ":40+", StringComparison.Ordinal),
            ["performer"] = performer,
        };
        foreach (var (name, value) in content)
            entry[name] = value;
        return entry;
    }

    /// <summary>A value with its unit.</summary>
    public static JsonObject Quantity(decimal value, string unit) => new() { ["value"] = value, ["unit"] = unit };

    private static JsonObject Identifier(string system, string value) =>
        new() { ["system"] = $"https://lantern-quay.example/{system}", ["value"] = value };
}
