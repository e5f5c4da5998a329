using System.Collections.Concurrent;
using System.Formats.Asn1;
using System.Security.Cryptography;
using System.Security.Cryptography.X509Certificates;
using IrrigationFhir.Access;

namespace IrrigationFhir.Tokens;

/// <summary>
/// Whose a certificate is that a gateway comes with: of the client in whose registration its SHA-256 stands, or, where authorities of the
/// site vouch for it, one of its names.
/// </summary>
/// <remarks>What authorities say is remembered for a minute: a chain is built of several signatures.</remarks>
internal sealed class GatewayCertificates(AccessSettings settings, Clients clients, TimeProvider clock)
{
    private const string AsClient = "1.3.6.1.5.5.7.3.2"; // RFC 5280, 4.2.1.12: id-kp-clientAuth
    private const int MostRemembered = 1000;

    private static readonly TimeSpan Remembered = TimeSpan.FromMinutes(1);

    private readonly ConcurrentDictionary<string, (bool Vouched, DateTimeOffset Until)> _known = new();

    /// <summary>The client whose it is; null for nobody's, and for one out of its time.</summary>
    public Registration? Find(X509Certificate2 shown)
    {
        var (sha256, now) = (Convert.ToHexString(SHA256.HashData(shown.RawData)), clock.GetUtcNow());
        if (now < shown.NotBefore || now > shown.NotAfter)
            return null;
        var registered = clients.Now;
        if (registered.FindByCertificate(sha256) is { } pinned)
            return pinned;
        // One that names two clients is nobody's.
        return
            settings.VouchForClients is not null
            && Names(shown).Select(registered.FindByCertificate).OfType<Registration>().Distinct().ToList() is [var named]
            && IsVouchedFor(shown, sha256, now)
            ? named
            : null;
    }

    private bool IsVouchedFor(X509Certificate2 shown, string sha256, DateTimeOffset now)
    {
        if (_known.TryGetValue(sha256, out var known) && now < known.Until)
            return known.Vouched;
        if (_known.Count >= MostRemembered)
            _known.Clear();
        using var chain = new X509Chain();
        chain.ChainPolicy.TrustMode = X509ChainTrustMode.CustomRootTrust;
        chain.ChainPolicy.CustomTrustStore.AddRange(settings.VouchForClients!);
        chain.ChainPolicy.RevocationMode = X509RevocationMode.NoCheck; // who is let in no longer goes from the file of clients
        chain.ChainPolicy.DisableCertificateDownloads = true;
        chain.ChainPolicy.VerificationTime = now.UtcDateTime;
        chain.ChainPolicy.ApplicationPolicy.Add(new(AsClient));
        var vouched = chain.Build(shown);
        _known[sha256] = (vouched, now + Remembered);
        return vouched;
    }

    /// <summary>Its alternative names of hosts and URIs, as registrations write them.</summary>
    private static IEnumerable<string> Names(X509Certificate2 certificate)
    {
        const int Host = 2;
        const int Uri = 6; // RFC 5280, 4.2.1.6: GeneralName
        var names = new List<string>();
        try
        {
            foreach (var extension in certificate.Extensions.OfType<X509SubjectAlternativeNameExtension>())
            {
                var all = new AsnReader(extension.RawData, AsnEncodingRules.DER).ReadSequence();
                while (all.HasData)
                {
                    var tag = all.PeekTag();
                    if (tag is { TagClass: TagClass.ContextSpecific, TagValue: Host or Uri })
                    {
                        var text = all.ReadCharacterString(UniversalTagNumber.IA5String, tag);
                        names.Add(tag.TagValue == Host ? $"dns:{text.ToLowerInvariant()}" : $"uri:{text}");
                    }
                    else
                    {
                        all.ReadEncodedValue();
                    }
                }
            }
        }
        catch (AsnContentException)
        {
            return [];
        }

        return names;
    }
}
