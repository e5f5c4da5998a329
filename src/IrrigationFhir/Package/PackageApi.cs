using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Rest;
using Microsoft.Net.Http.Headers;

namespace IrrigationFhir.Package;

/// <summary>The package over HTTP and from the command line.</summary>
internal static class PackageApi
{
    /// <summary>Adds the package, and names the guide and what it requires in the CapabilityStatement.</summary>
    public static IServiceCollection AddPackage(this IServiceCollection services) =>
        services
            .AddSingleton<FhirPackage>()
            .AddSingleton<CapabilityClaim>(service => statement => Claim(statement, service.GetRequiredService<Vocabulary>().Profiles));

    /// <summary>Maps the route.</summary>
    public static void MapPackage(this IEndpointRouteBuilder app) =>
        app.MapMethods(
                $"{FhirBase.Path}/package.tgz",
                [HttpMethods.Get, HttpMethods.Head],
                (FhirPackage package) =>
                    Results.Bytes(
                        package.Bytes,
                        "application/gzip",
                        FhirPackage.FileName,
                        entityTag: new EntityTagHeaderValue($"\"{package.Checksum}\"")
                    )
            )
            .ExcludeFromDescription()
            .Needs(AccessNeeds.Nothing);

    /// <summary>Writes the package to a file and prints its checksum; 0, or 2 when it was called wrongly.</summary>
    public static int Write(string[] args, TextWriter output, TextWriter errors)
    {
        if (args is not [{ Length: > 0 } path] || path.StartsWith('-'))
        {
            errors.WriteLine("usage: IrrigationFhir package <file.tgz>");
            return 2;
        }

        using var app = Service.Build([]);
        var package = app.Services.GetRequiredService<FhirPackage>();
        File.WriteAllBytes(path, package.Bytes.ToArray());
        output.WriteLine($"{package.Checksum}  {path}");
        return 0;
    }

    private static void Claim(CapabilityStatement statement, Profiles profiles)
    {
        if (statement.Kind != CapabilityStatementKind.Instance)
            return;
        statement.Instantiates = [profiles.RequiredCapabilities];
        statement.ImplementationGuide = [profiles.Guide];
    }
}
