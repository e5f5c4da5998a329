using System.Text.Json.Nodes;

namespace IrrigationFhir.Tests.Entries;

/// <summary>Entries of an invented day, 2026-03-14, as a ward system would send them; clock times are UTC.</summary>
internal static class Charted
{
    public const string Source = "ward-charting";

    /// <summary>A clock time as an instant.</summary>
    public static string At(string clock) => $"2026-03-14T{clock}:00Z";

    public static JsonObject Of(string kind, string id, string clock, params (string Name, JsonNode? Value)[] content)
    {
        var entry = new JsonObject
        {
            ["source"] = Source,
            ["id"] = id,
            ["kind"] = kind,
            ["at"] = At(clock),
        };
        foreach (var (name, value) in content)
            entry[name] = value;
        return entry;
    }

    public static JsonObject Millilitres(decimal value) => new() { ["value"] = value, ["unit"] = "mL" };

    public static JsonObject BagHung(string id, string clock, decimal millilitres) =>
        Of("bag-hung", id, clock, ("volume", Millilitres(millilitres)), ("tubingPrime", Millilitres(0)));

    public static JsonObject BagTakenDown(string id, string clock, decimal remaining) =>
        Of("bag-taken-down", id, clock, ("remaining", Millilitres(remaining)));

    public static JsonObject Emptied(string id, string clock, decimal millilitres) =>
        Of("drainage-emptied", id, clock, ("volume", Millilitres(millilitres)));

    public static JsonObject Flow(string id, string clock, decimal millilitresPerHour) =>
        Of("flow-set", id, clock, ("rate", new JsonObject { ["value"] = millilitresPerHour, ["unit"] = "mL/h" }));

    /// <summary>An hour of continuous irrigation, all of it charted.</summary>
    public static JsonNode[] AnHour() => [BagHung("bag", "08:00", 3000), Flow("flow", "08:00", 500), Emptied("one", "09:00", 560)];

    public static JsonObject Withdrawn(string id, string? reason = null)
    {
        var entry = new JsonObject
        {
            ["source"] = Source,
            ["id"] = id,
            ["status"] = "entered-in-error",
        };
        if (reason is not null)
            entry["reason"] = reason;
        return entry;
    }

    public static JsonObject With(this JsonObject entry, string name, JsonNode? value)
    {
        var changed = entry.DeepClone().AsObject();
        changed[name] = value;
        return changed;
    }

    public static JsonObject Without(this JsonObject entry, string name)
    {
        var changed = entry.DeepClone().AsObject();
        changed.Remove(name);
        return changed;
    }
}
