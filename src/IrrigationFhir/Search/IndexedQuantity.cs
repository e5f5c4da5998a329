using System.Collections.Frozen;
using Hl7.Fhir.Model;

namespace IrrigationFhir.Search;

/// <summary>A quantity as the index holds it, in texts that sort like the numbers they stand for.</summary>
/// <param name="Number">As written, whatever the unit (<see cref="ExactDecimal.Sortable"/>).</param>
/// <param name="Amount">In <paramref name="Unit"/>; null where that is the number as written.</param>
/// <param name="Unit"><see cref="UnitOf"/>; null without a unit.</param>
internal readonly record struct IndexedQuantity(string Number, string? Amount, string? Unit)
{
    /// <summary>The system of UCUM, as the FHIR library names it.</summary>
    private static readonly string Ucum = new Quantity(1, "1").System!;

    // Amounts per day, because a day holds a whole number of every other stretch: no quotient has to be rounded.
    private static readonly FrozenDictionary<string, (string Unit, ExactDecimal Factor)> Known = new (
        string Code,
        string Unit,
        decimal Factor
    )[]
    {
        ("mL", "mL", 1m),
        ("ml", "mL", 1m),
        ("cm3", "mL", 1m),
        ("uL", "mL", 0.001m),
        ("cL", "mL", 10m),
        ("dL", "mL", 100m),
        ("L", "mL", 1000m),
        ("l", "mL", 1000m),
        ("mL/d", "mL/d", 1m),
        ("mL/(24.h)", "mL/d", 1m),
        ("mL/(12.h)", "mL/d", 2m),
        ("mL/(8.h)", "mL/d", 3m),
        ("mL/h", "mL/d", 24m),
        ("mL/min", "mL/d", 1440m),
        ("L/d", "mL/d", 1000m),
        ("L/h", "mL/d", 24_000m),
        ("L/min", "mL/d", 1_440_000m),
        ("ml/d", "mL/d", 1m),
        ("ml/h", "mL/d", 24m),
        ("ml/min", "mL/d", 1440m),
        ("l/d", "mL/d", 1000m),
        ("l/h", "mL/d", 24_000m),
        ("l/min", "mL/d", 1_440_000m),
        ("mL/kg/d", "mL/kg/d", 1m),
        ("mL/(kg.d)", "mL/kg/d", 1m),
        ("mL/kg/h", "mL/kg/d", 24m),
        ("mL/(kg.h)", "mL/kg/d", 24m),
        ("mL/h/kg", "mL/kg/d", 24m),
        ("mg", "g", 0.001m),
        ("g", "g", 1m),
        ("kg", "g", 1000m),
        ("s", "s", 1m),
        ("min", "s", 60m),
        ("h", "s", 3600m),
        ("d", "s", 86_400m),
        ("wk", "s", 604_800m),
        ("mg/mL", "g/mL", 0.001m),
        ("kg/L", "g/mL", 1m),
        ("g/mL", "g/mL", 1m),
        ("g/L", "g/mL", 0.001m),
        ("mm", "cm", 0.1m),
        ("cm", "cm", 1m),
        ("m", "cm", 100m),
        // Counted, not measured: [drp] is not the same, UCUM fixes that one at a twentieth of a millilitre.
        ("{drop}/min", "{drop}/min", 1m),
        ("{gtt}/min", "{drop}/min", 1m),
        ("{drop}/mL", "{drop}/mL", 1m),
        ("{gtt}/mL", "{drop}/mL", 1m),
        ("%", "%", 1m),
        ("1", "1", 1m),
        ("{score}", "{score}", 1m),
        ("[Ch]", "[Ch]", 1m),
        ("cm[H2O]", "cm[H2O]", 1m),
        ("mm[Hg]", "mm[Hg]", 1m),
        ("Cel", "Cel", 1m),
    }.ToFrozenDictionary(row => row.Code, row => (row.Unit, ExactDecimal.Of(row.Factor)));

    /// <summary>The key of a quantity; null without a value, and for one that says only "less than" or "more than".</summary>
    public static IndexedQuantity? Of(Quantity? quantity)
    {
        if (quantity is not { Value: { } value, Comparator: null })
            return null;
        var number = ExactDecimal.Of(value);
        var (unit, factor) = string.IsNullOrEmpty(quantity.Code)
            ? (string.IsNullOrEmpty(quantity.Unit) ? null : quantity.Unit + "|", One)
            : UnitOf(quantity.Code, quantity.System ?? "");
        var (written, amount) = (number.Sortable(), number.Times(factor).Sortable());
        return new(written, written == amount ? null : amount, unit);
    }

    /// <summary>The unit that quantities of a unit are compared in, and how many of it one is.</summary>
    /// <param name="code">The unit's code.</param>
    /// <param name="system">Its system; empty for none.</param>
    /// <returns>
    /// For a UCUM unit of the table its base, such as mL for L; any other stands for itself. Outside UCUM the text is <c>code|system</c>.
    /// </returns>
    public static (string Unit, ExactDecimal Factor) UnitOf(string code, string system) =>
        system != Ucum ? ($"{code}|{system}", One)
        : Known.TryGetValue(code, out var known) ? known
        : (code, One);

    /// <summary>The same for a code that is looked for under any system, read as UCUM's.</summary>
    public static (string Unit, ExactDecimal Factor) UcumUnitOf(string code) => UnitOf(code, Ucum);

    /// <summary>The UCUM units that are converted.</summary>
    public static IReadOnlyList<string> Converted => Known.Keys;

    /// <summary>Whether quantities of a UCUM unit are converted: it is in the table.</summary>
    public static bool IsConverted(string code) => Known.ContainsKey(code);

    private static ExactDecimal One => new(1, 0);
}
