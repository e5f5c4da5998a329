using System.Globalization;

namespace Irrigation.Measures;

/// <summary>
/// Amounts as they are read at a bedside: how every sentence says them. What a program reads has all digits; only sentences are rounded.
/// </summary>
/// <remarks>
/// Volumes: to 0.1 mL below 10 mL, to 1 mL below 1 L, to 10 mL from there on, for no bag and no container is read closer. Flows: to 0.1
/// mL/h below 100 mL/h, to 1 mL/h from there on. Rates by weight: two decimals. Halves go away from zero, as with drops. Our judgement.
/// </remarks>
public static class AsRead
{
    /// <summary>A volume with its unit: <c>2,670 mL</c>.</summary>
    public static string Volume(Volume volume) => $"{Number(volume)} mL";

    /// <summary>A volume without its unit.</summary>
    public static string Number(Volume volume)
    {
        var (millilitres, size) = (volume.Millilitres, Math.Abs(volume.Millilitres));
        return size < 9.95m ? Said(Rounded(millilitres, 1), "0.#")
            : size < 999.5m ? Said(Rounded(millilitres, 0), "0")
            : Said(Rounded(millilitres / 10, 0) * 10, "#,0");
    }

    /// <summary>A flow with its unit: <c>41.7 mL/h</c>, <c>1,500 mL/h</c>.</summary>
    public static string Flow(FlowRate flow)
    {
        var perHour = flow.MillilitresPerHour;
        return $"{(Math.Abs(perHour) < 99.95m ? Said(Rounded(perHour, 1), "0.#") : Said(Rounded(perHour, 0), "#,0"))} mL/h";
    }

    /// <summary>From one volume to another: <c>-63 to 153 mL</c>.</summary>
    public static string Range(VolumeRange range) => $"{Number(range.Low)} to {Number(range.High)} mL";

    /// <summary>A value in mL, mL/h or mL/kg/h, without its unit.</summary>
    /// <param name="value">The value.</param>
    /// <param name="unit">Its unit.</param>
    public static string Number(decimal value, string unit) =>
        unit is "mL" or "mL/h" ? Number(Measures.Volume.FromMillilitres(value)) : Said(Rounded(value, 2), "0.0#");

    private static decimal Rounded(decimal value, int decimals) => Math.Round(value, decimals, MidpointRounding.AwayFromZero);

    // A decimal keeps the sign of a zero: what rounds to nothing is not said to be below it.
    private static string Said(decimal value, string format) => (value == 0 ? 0m : value).ToString(format, CultureInfo.InvariantCulture);
}
