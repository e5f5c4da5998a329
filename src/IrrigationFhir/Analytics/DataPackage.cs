using System.Text.Json.Nodes;
using NodaTime.Text;

namespace IrrigationFhir.Analytics;

/// <summary>
/// What the files of a folder hold, for programs that read tables: a Frictionless Data Package (https://specs.frictionlessdata.io, version
/// 1). All of it comes from the views.
/// </summary>
internal static class DataPackage
{
    /// <summary>The name of the file.</summary>
    public const string FileName = "datapackage.json";

    // Whose rows the resource_key of a table leads to, where it is not its own.
    private static readonly Dictionary<string, string> PartOf = new()
    {
        ["output_caveats"] = "corrected_output",
        ["output_sources"] = "corrected_output",
        ["flag_evidence"] = "flags",
    };

    /// <summary>The package of an export.</summary>
    public static JsonObject Of(ExportManifest manifest, IReadOnlyList<PublishedView> views) =>
        new()
        {
            ["profile"] = "data-package",
            ["name"] = "irrigationfhir-export",
            ["title"] = "Irrigation of urinary catheters: what ran in, what drained, corrected urine output, flags",
            ["version"] = manifest.Version,
            ["created"] = InstantPattern.ExtendedIso.Format(manifest.TransactionTime),
            ["description"] =
                "Filter on status first: entered-in-error is withdrawn. Null is not known, and never 0. Moments are in UTC; columns "
                + "that end in _local have them as published. Numbers prompt a person to look at the patient; they diagnose nothing.",
            ["resources"] = new JsonArray([.. views.Select(view => Resource(view, manifest))]),
        };

    private static JsonObject Resource(PublishedView published, ExportManifest manifest)
    {
        var view = published.View;
        var files = manifest.Files.Where(file => file.Table == view.Name).ToList();
        var resource = new JsonObject
        {
            ["name"] = view.Name,
            ["title"] = view.Title,
            ["description"] = view.Description,
            ["profile"] = manifest.Format == "csv" ? "tabular-data-resource" : "data-resource",
            ["path"] = files is [var only] ? only.File : new JsonArray([.. files.Select(file => (JsonNode)file.File)]),
            ["format"] = manifest.Format,
            ["mediatype"] = manifest.Format switch
            {
                "csv" => "text/csv",
                "ndjson" => "application/x-ndjson",
                _ => "application/vnd.apache.parquet",
            },
            ["bytes"] = files.Sum(file => file.Bytes),
        };
        if (manifest.Format != "parquet")
            resource["encoding"] = "utf-8";
        if (files is [var single])
            resource["hash"] = $"sha256:{single.Sha256}";
        resource["schema"] = Schema(view);
        return resource;
    }

    private static JsonObject Schema(ViewDefinition view)
    {
        var schema = new JsonObject
        {
            ["fields"] = new JsonArray([.. TableColumn.Of(view).Select(Field)]),
            ["missingValues"] = new JsonArray(""),
            ["primaryKey"] = new JsonArray([
                "resource_key",
                .. view
                    .Columns.Where(column => column.Name.EndsWith("_index", StringComparison.Ordinal))
                    .Select(column => (JsonNode)column.Name),
            ]),
        };
        var foreign = new JsonArray();
        if (PartOf.TryGetValue(view.Name, out var whole))
            foreign.Add(Foreign("resource_key", whole));
        if (view.Name != "irrigation_episodes" && view.Columns.Any(column => column.Name == "episode_key"))
            foreign.Add(Foreign("episode_key", "irrigation_episodes"));
        if (foreign.Count > 0)
            schema["foreignKeys"] = foreign;
        return schema;
    }

    private static JsonObject Field(TableColumn column)
    {
        var field = new JsonObject
        {
            ["name"] = column.Name,
            ["type"] = column.Shape switch
            {
                ColumnShape.Text => "string",
                ColumnShape.Boolean => "boolean",
                ColumnShape.Integer => "integer",
                ColumnShape.Decimal => "number",
                ColumnShape.Moment => "datetime",
            },
            ["description"] = column.Description,
        };
        if (column.Shape == ColumnShape.Moment)
            field["format"] = "default";
        return field;
    }

    private static JsonObject Foreign(string field, string table) =>
        new()
        {
            ["fields"] = field,
            ["reference"] = new JsonObject { ["resource"] = table, ["fields"] = "resource_key" },
        };
}
