using Hl7.Fhir.Model;
using IrrigationFhir.Access;
using IrrigationFhir.Fhir;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;

namespace IrrigationFhir.Analytics;

/// <summary>Tables and files for data people, over HTTP.</summary>
internal static class AnalyticsApi
{
    private const string BulkData = "http://hl7.org/fhir/uv/bulkdata";
    private const string SqlOnFhir = "http://sql-on-fhir.org/OperationDefinition/$viewdefinition-";

    // Both spellings are in use: the operation definitions have the longer one.
    private static readonly string[] RunSpellings = ["$viewdefinition-run", "$run"];
    private static readonly string[] ExportSpellings = ["$viewdefinition-export", "$export"];

    /// <summary>Adds the views, exports, and what reads the store out. Needs the store and the FHIR interface.</summary>
    public static IServiceCollection AddAnalytics(this IServiceCollection services) =>
        services
            .AddSingleton(service => new DomainViews(service.GetRequiredService<Vocabulary>().Profiles))
            .AddSingleton(service => new ResourceScan(service.GetRequiredService<Database>()))
            .AddSingleton<ViewReading>()
            .AddSingleton<ViewOperations>()
            .AddSingleton<BulkApi>()
            .AddSingleton<RunExports>()
            .AddHostedService(service => service.GetRequiredService<RunExports>())
            .AddSingleton(service => service.GetRequiredService<ViewReading>().Table())
            .AddSingleton(service => Published(service.GetRequiredService<DomainViews>()))
            .AddSingleton<CapabilityClaim>(Claim);

    /// <summary>Maps what is not in the table of reads: exports, and rows.</summary>
    public static void MapAnalytics(this IEndpointRouteBuilder app)
    {
        // What is exported or run names its types in the request: there it is judged.
        var fhir = app.MapGroup(FhirBase.Path)
            .AddEndpointFilter(FhirApi.RequireExactCase)
            .ExcludeFromDescription()
            .Needs(AccessNeeds.AnyToken);
        var json = fhir.MapGroup("").AddEndpointFilter(Negotiation.RequireJson);
        string[] asked = [HttpMethods.Get, HttpMethods.Post];
        string[] read = [HttpMethods.Get, HttpMethods.Head];

        json.MapMethods("/$export", asked, (HttpContext http, BulkApi bulk) => bulk.KickOff(http, ofPatients: false))
            .ShowsEpisodes()
            .TakesLittle(app.ServiceProvider);
        json.MapMethods("/Patient/$export", asked, (HttpContext http, BulkApi bulk) => bulk.KickOff(http, ofPatients: true))
            .ShowsEpisodes()
            .TakesLittle(app.ServiceProvider);
        json.MapMethods("/Group/{id}/$export", asked, (string id) => BulkApi.OfGroup()).TakesLittle(app.ServiceProvider);
        fhir.MapMethods("/exports/{id}", read, (HttpContext http, string id, BulkApi bulk) => bulk.Ask(http, id));
        fhir.MapDelete("/exports/{id}", (HttpContext http, string id, BulkApi bulk) => bulk.Delete(http, id));
        fhir.MapMethods("/exports/{id}/{file}", read, (HttpContext http, string id, string file, BulkApi bulk) => bulk.File(http, id, file))
            .ShowsByItself(Deed.Read, "read");

        foreach (var spelling in RunSpellings)
        {
            if (spelling != "$run")
                fhir.MapMethods($"/{spelling}", asked, (HttpContext http, ViewOperations views) => views.Run(http, null))
                    .ShowsByItself(Deed.Query, "operation");
            fhir.MapMethods($"/ViewDefinition/{spelling}", asked, (HttpContext http, ViewOperations views) => views.Run(http, null))
                .ShowsByItself(Deed.Query, "operation");
            fhir.MapMethods(
                    $"/ViewDefinition/{{id}}/{spelling}",
                    asked,
                    (HttpContext http, string id, ViewOperations views) => views.Run(http, id)
                )
                .ShowsByItself(Deed.Query, "operation");
        }

        foreach (var spelling in ExportSpellings)
        {
            if (spelling != "$export")
                json.MapPost($"/{spelling}", (HttpContext http, ViewOperations views, FhirSettings at) => Export(http, null, views, at))
                    .ShowsEpisodes();
            json.MapPost(
                    $"/ViewDefinition/{spelling}",
                    (HttpContext http, ViewOperations views, FhirSettings at) => Export(http, null, views, at)
                )
                .ShowsEpisodes();
            json.MapPost(
                    $"/ViewDefinition/{{id}}/{spelling}",
                    (HttpContext http, string id, ViewOperations views, FhirSettings at) => Export(http, id, views, at)
                )
                .ShowsEpisodes();
        }
    }

    private static Task<IResult> Export(HttpContext http, string? id, ViewOperations views, FhirSettings settings) =>
        views.Export(http, id, FhirBase.Of(http.Request, settings));

    private static void Claim(CapabilityStatement statement)
    {
        // What the running service can do: who follows the guide need not.
        if (statement.Kind != CapabilityStatementKind.Instance)
            return;
        statement.Instantiates = [.. statement.Instantiates, $"{BulkData}/CapabilityStatement/bulk-data"];
        var rest = statement.Rest[0];
        rest.Operation =
        [
            .. rest.Operation,
            Operation("export", $"{BulkData}/OperationDefinition/export", BulkApi.Policy),
            Operation(
                "viewdefinition-run",
                $"{SqlOnFhir}run",
                "SQL on FHIR 2: the rows of a ViewDefinition at once, as json, ndjson, csv or parquet; also spelt $run, also at "
                    + "ViewDefinition and ViewDefinition/[id]. Our views are read and searched at ViewDefinition."
            ),
            Operation(
                "viewdefinition-export",
                $"{SqlOnFhir}export",
                "The rows of several as files, by the asynchronous pattern; ends in 303."
            ),
        ];
        if (rest.Resource.FirstOrDefault(resource => (string?)resource.TypeElement?.JsonValue == "Patient") is { } patient)
            patient.Operation =
            [
                .. patient.Operation,
                Operation("export", $"{BulkData}/OperationDefinition/patient-export", BulkApi.PatientPolicy),
            ];
    }

    private static CapabilityStatement.OperationComponent Operation(string name, string definition, string says) =>
        new()
        {
            Name = name,
            Definition = definition,
            Documentation = says,
        };

    private static IReadOnlyList<PublishedDefinition> Published(DomainViews views) =>
        [
            .. views.All.Select(view => new PublishedDefinition(
                "ViewDefinition",
                view.Id,
                view.View.Url!,
                view.View.Version!,
                view.View.Title!,
                view.View.Description!,
                view.Text
            )),
        ];
}
