using System.Text.Json;
using Irrigation.Balance;
using Irrigation.Episodes;
using IrrigationFhir.Access;
using IrrigationFhir.Rest;
using Microsoft.OpenApi;

namespace IrrigationFhir.DripRate;

/// <summary>The sum of the gravity line without any episode: at an address, and as the command <c>drip-rate</c>.</summary>
internal static class DripRateApi
{
    private const string Text = "text/plain";

    /// <summary>Maps the route.</summary>
    public static void MapDripRate(this IEndpointRouteBuilder app) =>
        app.MapGet("/drip-rate", Get)
            .Needs(AccessNeeds.AnyToken)
            .Answers<DripReport>(StatusCodes.Status200OK, "What to count, and what was counted.", "application/json", Text)
            .Fails(StatusCodes.Status400BadRequest)
            .WithName("dripRate")
            .WithTags("Drip")
            .AddOpenApiOperationTransformer(
                (operation, _, _) =>
                {
                    operation.Parameters = [.. DripQuestion.Parameters.Select(Described)];
                    operation.Responses!["200"].Content![Text].Schema = new OpenApiSchema { Type = JsonSchemaType.String };
                    return Task.CompletedTask;
                }
            )
            .WithSummary("Drops a minute for a volume in a time or a rate, and back, without any episode.")
            .WithDescription(
                "Whole drops a minute, half away from zero; from counted drops the flow with its doubt, and how far it is from the one "
                    + "that is wanted; how long the volume lasts. JSON, or with `Accept: text/plain` sentences. A drop factor that is not "
                    + "printed on the usual sets is taken, with a caveat. "
                    + Drip.Caution
                    + " "
                    + Texts.Caution
            );

    /// <summary>Prints it; 0, or 2 when it was called wrongly.</summary>
    /// <param name="args">What followed the command.</param>
    /// <param name="settings">The settings in force.</param>
    /// <param name="output">Gets the answer.</param>
    /// <param name="errors">Gets what is wrong, one problem a line.</param>
    public static int Print(string[] args, Func<BalanceSettings> settings, TextWriter output, TextWriter errors)
    {
        var asJson = args.Contains("--json");
        var given = args.Where(arg => arg != "--json").ToList();
        if (given.Count == 0 || given.Exists(arg => !arg.StartsWith("--", StringComparison.Ordinal) || !arg.Contains('=')))
        {
            errors.WriteLine("usage: IrrigationFhir drip-rate [--json] --dropFactor=N …, of");
            foreach (var parameter in DripQuestion.Parameters)
                errors.WriteLine($"  {$"--{parameter.Name}=\"{parameter.Example}\"", -22} {parameter.Says}");
            return 2;
        }

        var problems = new List<EntryProblem>();
        var asked = given.Select(arg => arg[2..].Split('=', 2)).Select(pair => KeyValuePair.Create(pair[0], pair[1]));
        if (DripQuestion.Read(asked, problems) is not { } question)
        {
            foreach (var problem in problems)
                errors.WriteLine($"{problem.Code}: {problem.Text}");
            return 2;
        }

        var report = Answer(question, settings());
        output.WriteLine(asJson ? JsonSerializer.Serialize(report, ReadableJson.Indented) : InWords(report));
        return 0;
    }

    private static IResult Get(HttpRequest request, BalanceSettings settings)
    {
        var problems = new List<EntryProblem>();
        var asked = request.Query.SelectMany(pair => pair.Value.Select(value => KeyValuePair.Create(pair.Key, value ?? "")));
        if (DripQuestion.Read(asked, problems) is not { } question)
            return OutcomeResult.Refused(StatusCodes.Status400BadRequest, problems);
        var report = Answer(question, settings);
        return request.GetTypedHeaders().Accept.Any(type => type.MediaType.Value is Text)
            ? Results.Text(InWords(report) + "\n", Text)
            : Results.Json(report);
    }

    private static DripReport Answer(DripQuestion question, BalanceSettings settings)
    {
        var drip = Drip.Of(question.Wanted, question.Set, question.Counted, question.Volume, settings.Characters);
        return DripReport.Of(drip, DripWords.Of(drip, question.Asked));
    }

    private static string InWords(DripReport report) => string.Join('\n', [.. report.Says, report.Caution, Texts.Caution]);

    private static OpenApiParameter Described(DripQuestion.Parameter parameter) =>
        new()
        {
            Name = parameter.Name,
            In = ParameterLocation.Query,
            Required = parameter.Name == "dropFactor",
            Description = parameter.Says,
            Example = parameter.Example,
            Schema = new OpenApiSchema { Type = JsonSchemaType.String },
        };
}
