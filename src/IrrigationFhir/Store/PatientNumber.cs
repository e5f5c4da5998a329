using System.Buffers.Binary;
using System.Security.Cryptography;
using System.Text;

namespace IrrigationFhir.Store;

/// <summary>The number that leads the keys of a patient's resources.</summary>
/// <remarks>
/// It follows from the patient's key, so that nobody has to hand it out and every machine comes to the same. 47 bits: among a million
/// patients the chance is 1 in 280 that any two share a number, and those would share a partition and nothing else.
/// </remarks>
internal static class PatientNumber
{
    /// <summary>The number of a patient, 0 or more.</summary>
    public static long Of(string patientKey)
    {
        Span<byte> digest = stackalloc byte[SHA256.HashSizeInBytes];
        SHA256.HashData(Encoding.UTF8.GetBytes(patientKey), digest);
        return BinaryPrimitives.ReadInt64BigEndian(digest) & ((1L << 47) - 1);
    }
}
