using IrrigationFhir.Fhir;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;

namespace IrrigationFhir.Analytics;

/// <summary>Tables and files for data people, over HTTP.</summary>
internal static class AnalyticsApi
{
    /// <summary>Adds the views, what reads them, and what reads the store out. Needs the store and the FHIR interface.</summary>
    public static IServiceCollection AddAnalytics(this IServiceCollection services) =>
        services
            .AddSingleton(service => new DomainViews(service.GetRequiredService<Vocabulary>().Profiles))
            .AddSingleton(service => new ResourceScan(service.GetRequiredService<Database>()))
            .AddSingleton<ViewReading>()
            .AddSingleton(service => service.GetRequiredService<ViewReading>().Table())
            .AddSingleton(service => Published(service.GetRequiredService<DomainViews>()));

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
