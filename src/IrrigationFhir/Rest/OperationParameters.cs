using System.Text;
using Hl7.Fhir.Model;
using IrrigationFhir.Problems;
using IrrigationFhir.Store;
using Microsoft.AspNetCore.Http.Extensions;

namespace IrrigationFhir.Rest;

/// <summary>Names and values of a search or an operation, from the address, a form, or a Parameters resource.</summary>
internal static class OperationParameters
{
    /// <summary>The media type of a form.</summary>
    public const string Form = "application/x-www-form-urlencoded";

    /// <summary>A request in one line, for the audit: method, address, and what a body adds to that.</summary>
    public static string Asked(HttpRequest request, IReadOnlyList<KeyValuePair<string, string>> parameters) =>
        AuditedRoutes.Asked(request) + (HttpMethods.IsPost(request.Method) ? " " + new QueryBuilder(parameters).ToQueryString() : "");

    /// <summary>What the address holds.</summary>
    public static IEnumerable<KeyValuePair<string, string>> Pairs(
        IEnumerable<KeyValuePair<string, Microsoft.Extensions.Primitives.StringValues>> values
    ) => from pair in values from value in pair.Value select new KeyValuePair<string, string>(pair.Key, value ?? "");

    /// <summary>What address and body hold together.</summary>
    /// <param name="request">Whose.</param>
    /// <param name="posted">What the body may be.</param>
    /// <param name="stop">Gives up.</param>
    /// <returns>The pairs, or null and a refusal.</returns>
    public static async Task<(IReadOnlyList<KeyValuePair<string, string>>? Pairs, OutcomeResult? Refused)> Read(
        HttpRequest request,
        PostedBody posted,
        CancellationToken stop
    )
    {
        var pairs = Pairs(request.Query);
        var nothing = request.ContentLength is 0 or null && request.ContentType is null;
        if (!HttpMethods.IsPost(request.Method) || (nothing && posted == PostedBody.ParametersOrNothing))
            return ([.. pairs], null);
        var media = BodyMediaType.Of(request);
        if (media == Form && request.HasFormContentType)
        {
            try
            {
                return ([.. pairs, .. Pairs(await request.ReadFormAsync(stop))], null);
            }
            catch (InvalidDataException)
            {
                return (
                    null,
                    new(
                        StatusCodes.Status400BadRequest,
                        Outcome.Problem("form-unreadable", "a form that cannot be read", "percent-encoded pairs of name and value", null)
                    )
                );
            }
        }

        var withResource = posted != PostedBody.Form;
        if (!withResource || !BodyMediaType.IsFhirJson(request) || BodyMediaType.OtherVersion(request) is not null)
        {
            return (
                null,
                new(
                    StatusCodes.Status415UnsupportedMediaType,
                    Outcome.Problem(
                        "unsupported-media-type",
                        request.ContentType ?? "no Content-Type",
                        withResource ? $"{Form}, or {FhirReply.MediaType} with a Parameters resource of R4" : Form,
                        null
                    )
                )
            );
        }

        using var text = new StreamReader(request.Body, Encoding.UTF8);
        var json = await text.ReadToEndAsync(stop);
        try
        {
            var sent = FhirJson.Read<Parameters>(json);
            var named = sent.Parameter.Select(parameter => KeyValuePair.Create(parameter.Name ?? "", TextOf(parameter.Value)));
            return ([.. pairs, .. named], null);
        }
        catch (Exception failure) when (failure is not OutOfMemoryException)
        {
            // Nothing but the text decides: whatever the SDK throws, it could not read it, or read another resource.
            return (
                null,
                new(
                    StatusCodes.Status400BadRequest,
                    Outcome.Problem(
                        "parameters-unreadable",
                        "a body that is no Parameters resource",
                        "FHIR JSON of a Parameters resource",
                        null
                    )
                )
            );
        }
    }

    private static string TextOf(DataType? value) =>
        value switch
        {
            Identifier identifier => $"{identifier.System}|{identifier.Value}",
            Coding coding => $"{coding.System}|{coding.Code}",
            ResourceReference { Reference: null, Identifier: { } logical } => TextOf(logical),
            ResourceReference reference => reference.Reference ?? "",
            PrimitiveType primitive => Convert.ToString(primitive.JsonValue, System.Globalization.CultureInfo.InvariantCulture) ?? "",
            _ => "",
        };
}
