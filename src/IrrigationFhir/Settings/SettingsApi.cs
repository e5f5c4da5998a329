using Irrigation.Flags;
using IrrigationFhir.Access;
using IrrigationFhir.Rest;

namespace IrrigationFhir.Settings;

/// <summary>The settings of a site: read once, at the start, and told to whoever asks what a number rests on.</summary>
internal static class SettingsApi
{
    /// <summary>Reads them, after those of every room have been checked.</summary>
    /// <exception cref="SettingsFault">Some cannot be used; all of those are named.</exception>
    public static IServiceCollection AddSettings(this IServiceCollection services, IConfiguration configuration)
    {
        AllSettings.Check(configuration);
        var site = SiteSettings.Read(configuration);
        return services
            .AddSingleton(site)
            .AddSingleton(site.Balance)
            .AddSingleton(site.Criteria)
            .AddSingleton(site.Forecasts)
            .AddSingleton(new FlagLimits(site.Flags, site.Criteria, site.Forecasts))
            .AddSingleton(site.Entries);
    }

    /// <summary>Maps the route.</summary>
    public static void MapSettings(this IEndpointRouteBuilder app) =>
        app.MapGet("/settings", (SiteSettings site) => site.All)
            .Needs(AccessNeeds.AnyToken)
            .Answers<IReadOnlyList<SiteSetting>>(
                StatusCodes.Status200OK,
                "Every setting that the arithmetic rests on, with the value in force, its default, and where that comes from."
            )
            .WithName("readSettings")
            .WithTags("Settings")
            .WithSummary("What the numbers rest on");
}
