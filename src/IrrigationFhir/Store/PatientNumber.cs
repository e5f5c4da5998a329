using System.Buffers.Binary;
using System.Security.Cryptography;
using System.Text;

namespace IrrigationFhir.Store;

/// <summary>The number that leads the keys of a patient's resources: the facility, and within it the patient.</summary>
/// <remarks>
/// It follows from the patient's key, so that nobody has to hand it out and every machine comes to the same. 47 bits of it are the
/// patient's: among a million patients of a facility the chance is 1 in 280 that any two share a number, and those would share a partition
/// and nothing else. The 15 bits above are the facility's, 0 where it has no name. Facilities must not share a number: what may be seen
/// goes by it, so that a service which would have two that do does not start (<see cref="Shared"/>).
/// </remarks>
internal static class PatientNumber
{
    private const int Bits = 47;

    // Between the facility and the patient in a key; no name of a facility has it.
    private const char Mark = '/';

    /// <summary>The key of a patient: a facility, and a digest that tells the patient there.</summary>
    public static string Key(string facility, string patient) => facility.Length == 0 ? patient : $"{facility}{Mark}{patient}";

    /// <summary>The facility in a patient's key; empty for one without a name.</summary>
    public static string FacilityIn(string patientKey) => patientKey.LastIndexOf(Mark) is var at and > 0 ? patientKey[..at] : "";

    /// <summary>The number of a patient, 0 or more.</summary>
    public static long Of(string patientKey) => OfFacility(FacilityIn(patientKey)).From | (Digest(patientKey) & ((1L << Bits) - 1));

    /// <summary>The first and the last number of a facility's patients.</summary>
    public static (long From, long To) OfFacility(string facility)
    {
        var number = facility.Length == 0 ? 0 : 1 + ((Digest(facility) & long.MaxValue) % ((1L << 15) - 1));
        return (number << Bits, (number << Bits) | ((1L << Bits) - 1));
    }

    /// <summary>Facilities of different names and one number.</summary>
    public static IEnumerable<IReadOnlyList<string>> Shared(IEnumerable<string> facilities) =>
        facilities.Distinct().GroupBy(OfFacility).Where(group => group.Count() > 1).Select(group => (IReadOnlyList<string>)[.. group]);

    private static long Digest(string text)
    {
        Span<byte> digest = stackalloc byte[SHA256.HashSizeInBytes];
        SHA256.HashData(Encoding.UTF8.GetBytes(text), digest);
        return BinaryPrimitives.ReadInt64BigEndian(digest);
    }
}
