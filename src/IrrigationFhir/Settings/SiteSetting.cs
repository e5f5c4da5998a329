using System.ComponentModel;

namespace IrrigationFhir.Settings;

/// <summary>A setting that explains itself.</summary>
/// <param name="Key">Its key in the configuration.</param>
/// <param name="Value">The value in force, with its unit.</param>
/// <param name="Default">What it is where nothing is set; null for an entry of a list.</param>
/// <param name="Range">What is accepted.</param>
/// <param name="Description">What it is for, and where its default comes from.</param>
internal sealed record SiteSetting(
    [property: Description("Its key in the configuration.")] string Key,
    [property: Description("The value in force, with its unit.")] string Value,
    [property: Description("What it is where nothing is set; absent for an entry of a list.")] string? Default,
    [property: Description("What is accepted.")] string Range,
    [property: Description("What it is for, and where its default comes from.")] string Description
);
