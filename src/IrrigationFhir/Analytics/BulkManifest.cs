using System.Text.Json;
using System.Text.Json.Nodes;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Analytics;

/// <summary>A file of an export over HTTP.</summary>
/// <param name="Type">The type of the resources in it, or the name of the view.</param>
/// <param name="Name">Its name in the folder of the export.</param>
/// <param name="Count">How many resources, or rows.</param>
/// <param name="Kind"><c>output</c> or <c>error</c>.</param>
/// <param name="MediaType">What it is served as.</param>
/// <param name="IsPacked">Whether it lies there packed with gzip.</param>
internal sealed record BulkFile(string Type, string Name, long Count, string Kind, string MediaType, bool IsPacked)
{
    private static readonly JsonSerializerOptions Json = new(JsonSerializerDefaults.Web);

    /// <summary>Files as they are kept with the export.</summary>
    public static string Write(IReadOnlyList<BulkFile> files) => JsonSerializer.Serialize(files, Json);

    /// <summary>Files as they were kept.</summary>
    public static IReadOnlyList<BulkFile> Read(string json) => JsonSerializer.Deserialize<List<BulkFile>>(json, Json)!;
}

/// <summary>The answer to who asks how an export stands, once it is done (Bulk Data Access 2.0.0, "Response - Complete Status").</summary>
internal static class BulkManifest
{
    /// <summary>The manifest.</summary>
    /// <param name="request">The address that it was asked at.</param>
    /// <param name="transactionTime">The moment that its files are of.</param>
    /// <param name="files">The files.</param>
    /// <param name="address">Where a file is fetched.</param>
    public static JsonObject Of(string request, Instant transactionTime, IReadOnlyList<BulkFile> files, Func<string, string> address) =>
        new()
        {
            ["transactionTime"] = InstantPattern.ExtendedIso.Format(transactionTime),
            ["request"] = request,
            // Nothing here asks for a token: who does stands before the service and covers its files too.
            ["requiresAccessToken"] = false,
            ["output"] = Items(files, "output", address),
            // Nothing is ever deleted: what is withdrawn says so in its status, and is among the output.
            ["deleted"] = new JsonArray(),
            ["error"] = Items(files, "error", address),
        };

    private static JsonArray Items(IReadOnlyList<BulkFile> files, string kind, Func<string, string> address) =>
        [
            .. files
                .Where(file => file.Kind == kind)
                .Select(file => new JsonObject
                {
                    ["type"] = file.Type,
                    ["url"] = address(file.Name),
                    ["count"] = file.Count,
                }),
        ];
}
