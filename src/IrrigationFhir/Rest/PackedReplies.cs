using System.IO.Compression;
using Microsoft.AspNetCore.ResponseCompression;

namespace IrrigationFhir.Rest;

/// <summary>Replies packed for clients that ask for it.</summary>
/// <remarks>
/// Over TLS too. BREACH guesses a secret in a reply whose other text the attacker chooses, fetched by a browser with credentials that it
/// adds by itself. No reply here holds a token or a cookie; but a search repeats its parameters beside a patient's data, so a site whose
/// gateway knows browsers by cookies sets <c>Fhir:CompressReplies</c> to false.
/// </remarks>
internal static class PackedReplies
{
    private static readonly string[] Texts =
    [
        FhirReply.MediaType,
        "application/json",
        "application/javascript",
        "text/html",
        "text/javascript",
        "text/plain",
    ];

    /// <summary>Adds it: the fastest of each, for a reply is packed anew each time.</summary>
    public static IServiceCollection AddPackedReplies(this IServiceCollection services) =>
        services
            .AddResponseCompression(options =>
            {
                options.EnableForHttps = true;
                options.MimeTypes = Texts;
                options.Providers.Add<BrotliCompressionProvider>();
                options.Providers.Add<GzipCompressionProvider>();
            })
            .Configure<BrotliCompressionProviderOptions>(options => options.Level = CompressionLevel.Fastest)
            .Configure<GzipCompressionProviderOptions>(options => options.Level = CompressionLevel.Fastest);

    /// <summary>Packs what is written from here on, unless the site does not want it.</summary>
    public static WebApplication UsePackedReplies(this WebApplication app)
    {
        if (app.Services.GetRequiredService<FhirSettings>().CompressReplies)
            app.UseResponseCompression();
        return app;
    }
}
