namespace IrrigationFhir.Settings;

/// <summary>The command <c>settings</c>: prints the settings that the numbers rest on.</summary>
internal static class SettingsCommand
{
    /// <summary>Prints every setting with what it is for; 0, or 2 when some cannot be used.</summary>
    public static int Run(string[] args, TextWriter output, TextWriter errors)
    {
        var builder = WebApplication.CreateBuilder(args);
        try
        {
            AllSettings.Check(builder.Configuration);
            foreach (var setting in SiteSettings.Read(builder.Configuration).All)
            {
                output.WriteLine($"{setting.Key} = {setting.Value}{UnlikeDefault(setting)}   [{setting.Range}]");
                output.WriteLine($"    {setting.Description}");
            }

            return 0;
        }
        catch (SettingsFault faults)
        {
            errors.WriteLine(faults.Message);
            return 2;
        }
    }

    private static string UnlikeDefault(SiteSetting setting) =>
        setting.Default is null || setting.Default == setting.Value ? "" : $"   (default {setting.Default})";
}
