using System.Net.Security;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;

namespace IrrigationFhir.Outbound;

/// <summary>Where a certificate of the service lies, by which it is known to whom connects, or to whom it connects.</summary>
/// <param name="Path">A PEM file: the certificate, and behind it those that lead to its authority.</param>
/// <param name="KeyPath">A PEM file: its key.</param>
/// <param name="Password">Of the key; null where it has none.</param>
internal sealed record PemFiles(string Path, string KeyPath, string? Password);

/// <summary>A certificate of the service, as its files say now. Files that do not go together leave the last one in force.</summary>
/// <remarks>Looked at by who connects, at most every two seconds. Two files are seldom replaced at once: they are tried again.</remarks>
internal sealed partial class PemCertificate
{
    private static readonly TimeSpan LookEvery = TimeSpan.FromSeconds(2);

    private readonly Lock _gate = new();
    private readonly PemFiles _files;
    private readonly TimeProvider _clock;
    private readonly ILogger<PemCertificate> _log;
    private (DateTime, DateTime) _seen;
    private long _lookedAt;
    private SslStreamCertificateContext _now;

    /// <summary>Reads the files.</summary>
    /// <exception cref="SettingsFault">They hold no certificate with its key.</exception>
    public PemCertificate(PemFiles files, TimeProvider clock, ILogger<PemCertificate> log)
    {
        (_files, _clock, _log) = (files, clock, log);
        (_seen, _lookedAt) = (Stamp(), clock.GetTimestamp());
        _now = Read() ?? throw new SettingsFault([$"{files.Path}: with {files.KeyPath} no certificate and its key in PEM"]);
    }

    /// <summary>The certificate with its chain.</summary>
    public SslStreamCertificateContext Now
    {
        get
        {
            lock (_gate)
            {
                if (_clock.GetElapsedTime(_lookedAt) < LookEvery)
                    return _now;
                _lookedAt = _clock.GetTimestamp();
                var stamp = Stamp();
                if (stamp == _seen)
                    return _now;
                if (Read() is { } read)
                {
                    (_now, _seen) = (read, stamp);
                    LogRead(_files.Path);
                }
                else
                {
                    LogFaulty(_files.Path);
                }

                return _now;
            }
        }
    }

    /// <summary>Whether files hold a certificate and its key.</summary>
    public static bool Holds(PemFiles files) => Read(files) is not null;

    private SslStreamCertificateContext? Read() => Read(_files);

    private static SslStreamCertificateContext? Read(PemFiles files)
    {
        try
        {
            var own = files.Password is { Length: > 0 } password
                ? X509Certificate2.CreateFromEncryptedPemFile(files.Path, password, files.KeyPath)
                : X509Certificate2.CreateFromPemFile(files.Path, files.KeyPath);
            var chain = new X509Certificate2Collection();
            chain.ImportFromPemFile(files.Path);
            return SslStreamCertificateContext.Create(own, [.. chain.Skip(1)], offline: true);
        }
        catch (Exception failure)
            when (failure is IOException or UnauthorizedAccessException or CryptographicException or ArgumentException)
        {
            return null;
        }
    }

    private (DateTime, DateTime) Stamp() => (Changed(_files.Path), Changed(_files.KeyPath));

    private static DateTime Changed(string file)
    {
        try
        {
            return File.GetLastWriteTimeUtc(File.ResolveLinkTarget(file, returnFinalTarget: true)?.FullName ?? file);
        }
        catch (Exception failure) when (failure is IOException or UnauthorizedAccessException)
        {
            return default;
        }
    }

    [LoggerMessage(1, LogLevel.Information, "The certificate in {File} was read again")]
    private partial void LogRead(string file);

    [LoggerMessage(2, LogLevel.Error, "The certificate in {File} has changed and does not go with its key; the last one stays in force")]
    private partial void LogFaulty(string file);
}
