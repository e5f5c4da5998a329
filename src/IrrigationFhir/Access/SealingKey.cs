using System.Security.Cryptography;
using System.Text;

namespace IrrigationFhir.Access;

/// <summary>The key of a site that seals what is secret in its store: AES-256-GCM, each text under a nonce of its own.</summary>
internal sealed class SealingKey
{
    private const int Bytes = 32;

    private const UnixFileMode Others =
        UnixFileMode.GroupRead
        | UnixFileMode.GroupWrite
        | UnixFileMode.GroupExecute
        | UnixFileMode.OtherRead
        | UnixFileMode.OtherWrite
        | UnixFileMode.OtherExecute;

    private readonly byte[] _key;

    private SealingKey(byte[] key) => _key = key;

    /// <summary>The key in a file; made, for its owner alone, where there is none.</summary>
    /// <exception cref="SettingsFault">It cannot be used.</exception>
    public static SealingKey At(string file)
    {
        if (!File.Exists(file))
            Make(file);
        return Fault(file) is { } fault
            ? throw new SettingsFault([$"{file} {fault}"])
            : new(Convert.FromBase64String(File.ReadAllText(file).Trim()));
    }

    /// <summary>What is wrong with the file of a key, after its name; null where nothing is.</summary>
    public static string? Fault(string file)
    {
        try
        {
            if (!OperatingSystem.IsWindows() && (File.GetUnixFileMode(file) & Others) != 0)
                return "can be read by others than its owner; mode 0600 is expected";
            var key = new byte[Bytes + 1];
            return Convert.TryFromBase64String(File.ReadAllText(file).Trim(), key, out var length) && length == Bytes
                ? null
                : $"holds no key; {Bytes} bytes in base64 are expected";
        }
        catch (Exception failure) when (failure is IOException or UnauthorizedAccessException)
        {
            return $"cannot be read ({failure.GetType().Name})";
        }
    }

    /// <summary>Seals bytes for a name: under another name they do not open.</summary>
    public byte[] Seal(ReadOnlySpan<byte> plain, string name)
    {
        using var cipher = new AesGcm(_key, AesGcm.TagByteSizes.MaxSize);
        var (nonce, tag) = (AesGcm.NonceByteSizes.MaxSize, AesGcm.TagByteSizes.MaxSize);
        var all = new byte[nonce + tag + plain.Length];
        RandomNumberGenerator.Fill(all.AsSpan(0, nonce));
        cipher.Encrypt(all.AsSpan(0, nonce), plain, all.AsSpan(nonce + tag), all.AsSpan(nonce, tag), Encoding.UTF8.GetBytes(name));
        return all;
    }

    /// <summary>Opens what was sealed for a name; null where it was not, or by another key.</summary>
    public byte[]? Open(ReadOnlySpan<byte> all, string name)
    {
        using var cipher = new AesGcm(_key, AesGcm.TagByteSizes.MaxSize);
        var (nonce, tag) = (AesGcm.NonceByteSizes.MaxSize, AesGcm.TagByteSizes.MaxSize);
        if (all.Length < nonce + tag)
            return null;
        var plain = new byte[all.Length - nonce - tag];
        try
        {
            cipher.Decrypt(all[..nonce], all[(nonce + tag)..], all.Slice(nonce, tag), plain, Encoding.UTF8.GetBytes(name));
            return plain;
        }
        catch (CryptographicException)
        {
            return null;
        }
    }

    /// <summary>Made under a name of its own and moved: of two who begin at once, both use the one that came first.</summary>
    private static void Make(string file)
    {
        var own = $"{file}.{Guid.NewGuid():N}";
        var options = new FileStreamOptions { Mode = FileMode.CreateNew, Access = FileAccess.Write };
        if (!OperatingSystem.IsWindows())
            options.UnixCreateMode = UnixFileMode.UserRead | UnixFileMode.UserWrite;
        using (var stream = new FileStream(own, options))
        {
            stream.Write(Encoding.ASCII.GetBytes(Convert.ToBase64String(RandomNumberGenerator.GetBytes(Bytes))));
            stream.Flush(flushToDisk: true);
        }

        try
        {
            File.Move(own, file);
        }
        catch (IOException) when (File.Exists(file))
        {
            File.Delete(own);
        }
    }
}
