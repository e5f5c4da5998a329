using System.Security.Cryptography;
using System.Text;
using Hl7.Fhir.Model;
using Irrigation.Episodes;
using Irrigation.Measures;
using IrrigationFhir.Model;
using NodaTime;
using NodaTime.Text;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Fhir;

/// <summary>The border between our values and FHIR's: times, volumes, references, ids. Conversions live here, once.</summary>
internal static class FhirValues
{
    private static readonly OffsetDateTimePattern Times = OffsetDateTimePattern.CreateWithInvariantCulture(
        "uuuu'-'MM'-'dd'T'HH':'mm':'ss;FFFFFFFFFo<Z+HH:mm>"
    );
    private static readonly InstantPattern Stamps = InstantPattern.CreateWithInvariantCulture("uuuuMMdd'T'HHmmss");

    /// <summary>An instant on the facility's wall clock, with offset and seconds.</summary>
    public static string Time(Instant instant, DateTimeZone zone) => Times.Format(instant.InZone(zone).ToOffsetDateTime());

    /// <summary>
    /// [start, end) as a Period. FHIR's end is inclusive: the instant before would claim a precision nobody measured, so the boundary
    /// itself stands.
    /// </summary>
    public static Hl7.Fhir.Model.Period Period(Instant start, Instant end, DateTimeZone zone) =>
        new() { Start = Time(start, zone), End = Time(end, zone) };

    /// <summary>A number at the wire: three decimals at most, half away from zero, no trailing zeros.</summary>
    public static decimal Number(decimal value) => Math.Round(value, 3, MidpointRounding.AwayFromZero) / 1.000000000000000000000000000m;

    /// <summary>
    /// So many decimals as a standard uncertainty warrants: to its second digit (JCGM 100:2008, 7.2.6), at least none and at most three.
    /// </summary>
    /// <param name="standardUncertainty">In the unit of the number; null where it is not known, which warrants no decimal.</param>
    /// <param name="fewest">Decimals below which the number would be too coarse to be used: in mL none, in mL/kg/h two.</param>
    public static int Decimals(decimal? standardUncertainty, int fewest = 0) =>
        standardUncertainty switch
        {
            null => fewest,
            0 => 3,
            var known => Math.Clamp(1 - (int)Math.Floor(Math.Log10((double)known.Value)), fewest, 3),
        };

    /// <summary>A number at the wire, to so many decimals, half away from zero, no trailing zeros.</summary>
    public static decimal Number(decimal value, int decimals) => Number(Math.Round(value, decimals, MidpointRounding.AwayFromZero));

    /// <summary>A standard uncertainty at the wire: two digits (JCGM 100:2008, 7.2.6).</summary>
    public static decimal Uncertainty(decimal value)
    {
        if (value == 0)
            return 0;
        var place = 1 - (int)Math.Floor(Math.Log10((double)value));
        var scale = (decimal)Math.Pow(10, Math.Abs(place));
        return place >= 0 ? Number(value, Math.Min(place, 3)) : Math.Round(value / scale, MidpointRounding.AwayFromZero) * scale;
    }

    /// <summary>A probability, 0 to 1: three decimals are more than the model behind it can promise.</summary>
    public static decimal Probability(double probability) => Number((decimal)probability);

    /// <summary>A volume in mL.</summary>
    public static Quantity Quantity(Volume volume) => Codes.Quantity(Number(volume.Millilitres), Codes.Units.Millilitre);

    /// <summary>A quantity in a component: its UCUM code is the text of its unit too, and stands once.</summary>
    public static Quantity Part(decimal value, UcumUnit unit)
    {
        var quantity = Codes.Quantity(value, unit);
        quantity.Unit = null;
        return quantity;
    }

    /// <summary>Elapsed time in hours.</summary>
    public static Quantity Quantity(NodaTime.Duration time) =>
        Codes.Quantity(Number((decimal)time.TotalNanoseconds / 3_600_000_000_000m), Codes.Units.Hour);

    /// <summary>A body weight in kg.</summary>
    public static Quantity Quantity(BodyWeight weight) => Codes.Quantity(Number(weight.Kilograms), Codes.Units.Kilogram);

    /// <summary>A logical reference, or an address, or both.</summary>
    public static ResourceReference Reference(Pointer pointer) =>
        new()
        {
            Reference = pointer.Reference,
            Identifier = pointer.Identifier is { } id ? new(id.System, id.Value) : null,
            Display = pointer.Display,
        };

    /// <summary>Somebody or something known only by what the sender calls it.</summary>
    public static ResourceReference? Named(string? name) => name is null ? null : new() { Identifier = new() { Value = name } };

    /// <summary>This service, where it is the one that says something: a Device by its identifier, without a resource of its own.</summary>
    public static ResourceReference Service(Profiles profiles) =>
        new()
        {
            Type = "Device",
            Identifier = new($"{profiles.CanonicalBase}/NamingSystem/service", "irrigationfhir"),
            Display = "IrrigationFhir",
        };

    /// <summary>The sender's id of an entry.</summary>
    public static Identifier Identifier(EntryKey key, Profiles profiles) =>
        new($"{profiles.CanonicalBase}/NamingSystem/entry", key.ToString());

    /// <summary>
    /// The id of the resource that an entry gives rise to: episode, slug, and a digest of source and id. At most 64 characters.
    /// </summary>
    public static string EntryId(string episode, string slug, EntryKey key) => $"{episode}.{slug}.{Digest(key.ToString(), 16)}";

    /// <summary>The id of the resource for a window: episode, slug, kind and the instant that names it. At most 64 characters.</summary>
    public static string WindowId(string episode, string slug, char kind, Instant at)
    {
        var nanoseconds = (at - Instant.FromUnixTimeSeconds(at.ToUnixTimeSeconds())).NanosecondOfDay;
        var window = $"{kind}{Stamps.Format(at)}{(nanoseconds == 0 ? "" : $"f{nanoseconds:x}")}";
        var id = $"{episode}.{slug}.{window}";
        return id.Length <= 64 ? id : $"{episode}.{Digest(slug, 10)}.{window}";
    }

    /// <summary>A digest in lower-case base 32, for ids.</summary>
    public static string Digest(string text, int length)
    {
        const string alphabet = "abcdefghijklmnopqrstuvwxyz234567";
        var hash = SHA256.HashData(Encoding.UTF8.GetBytes(text));
        return string.Create(
            length,
            hash,
            static (span, bytes) =>
            {
                for (var i = 0; i < span.Length; i++)
                    span[i] = alphabet[bytes[i] & 31];
            }
        );
    }
}
