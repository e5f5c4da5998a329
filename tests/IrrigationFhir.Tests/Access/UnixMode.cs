namespace IrrigationFhir.Tests.Access;

/// <summary>Who may read a file, where files say so.</summary>
internal static class UnixMode
{
    public static void Set(string path, UnixFileMode mode)
    {
        if (!OperatingSystem.IsWindows())
            File.SetUnixFileMode(path, mode);
    }
}
