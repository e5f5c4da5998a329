using System.Globalization;
using System.Text.Json;
using Hl7.Fhir.Model;
using IrrigationFhir.Problems;
using IrrigationFhir.Rest;
using IrrigationFhir.Store;
using NodaTime.Text;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Analytics;

/// <summary>A view that was asked for: one of ours, or one that was sent along.</summary>
/// <param name="Name">What its table is called.</param>
/// <param name="Reference">The name, id or URL of one of ours; null where it was sent.</param>
/// <param name="Definition">Its JSON, where it was sent.</param>
internal sealed record NamedView(string Name, string? Reference, string? Definition)
{
    /// <summary>The view itself, which was read when it was asked for.</summary>
    public ViewDefinition ViewIn(DomainViews views) =>
        Definition is { } sent ? ViewReader.Known(System.Text.Encoding.UTF8.GetBytes(sent)) : views.Find(Reference!)!.View;
}

/// <summary>An export of views.</summary>
/// <param name="Address">The address that it was asked at.</param>
/// <param name="Views">Which views.</param>
/// <param name="Format">In which format.</param>
/// <param name="Header">Whether csv names its columns.</param>
/// <param name="Since">Only what was stored after this.</param>
/// <param name="Patients">Whose; empty for all.</param>
/// <param name="TrackingId">What the client calls it, or null.</param>
internal sealed record ViewExport(
    string Address,
    IReadOnlyList<NamedView> Views,
    string Format,
    bool Header,
    Instant? Since,
    IReadOnlyList<ScannedPatient> Patients,
    string? TrackingId
);

/// <summary>Reads what the operations on views are asked with: all problems at once, or none.</summary>
/// <remarks>Taken from the JSON: a ViewDefinition is no type of R4, so that no model of it reads such Parameters.</remarks>
internal sealed class ViewRequest
{
    private readonly List<OperationOutcome.IssueComponent> _problems = [];
    private readonly List<(string Name, JsonElement Value, string At)> _parameters = [];

    /// <summary>What is wrong so far.</summary>
    public IReadOnlyList<OperationOutcome.IssueComponent> Problems => _problems;

    /// <summary>True where a view that was sent is not valid: that is 422, and not 400.</summary>
    public bool ViewIsInvalid { get; private set; }

    /// <summary>True where a view is not known: that is 404.</summary>
    public bool ViewIsUnknown { get; private set; }

    /// <summary>Resources that were sent along.</summary>
    public List<ReadOnlyMemory<byte>> Resources { get; } = [];

    /// <summary>Reads the address, and the body of a POST.</summary>
    public static async Task<ViewRequest> Read(HttpRequest http, CancellationToken stop)
    {
        var request = new ViewRequest();
        foreach (var (name, values) in http.Query)
        {
            foreach (var value in values)
                request._parameters.Add((name, JsonSerializer.SerializeToElement(value ?? ""), name));
        }

        if (!HttpMethods.IsPost(http.Method))
            return request;
        var (root, fault) = JsonBody.ReadOne(await JsonBody.ReadAll(http, stop));
        if (fault is not null)
        {
            request._problems.Add(Outcome.Problem(fault.Code, fault.Saw, fault.Expected, fault.Where));
            return request;
        }

        if (
            root.ValueKind != JsonValueKind.Object
            || !root.TryGetProperty("resourceType", out var type)
            || type.ValueKind != JsonValueKind.String
            || !type.ValueEquals("Parameters")
        )
        {
            request._problems.Add(
                Outcome.Problem("parameters-unreadable", "a body that is no Parameters resource", "FHIR JSON of one", "body")
            );
            return request;
        }

        var sent =
            root.TryGetProperty("parameter", out var list) && list.ValueKind == JsonValueKind.Array ? list.EnumerateArray().ToList() : [];
        for (var i = 0; i < sent.Count; i++)
        {
            if (
                sent[i].ValueKind == JsonValueKind.Object
                && sent[i].TryGetProperty("name", out var name)
                && name.ValueKind == JsonValueKind.String
            )
                request._parameters.Add((name.GetString()!, sent[i], $"parameter[{i}]"));
            else
                request.Problem($"parameter[{i}]", "a parameter without a name", "a name, and a value, a resource or parts");
        }

        return request;
    }

    /// <summary>Refuses parameters of other names.</summary>
    public void Only(params string[] names)
    {
        foreach (var (name, _, at) in _parameters.Where(parameter => !names.Contains(parameter.Name)))
            _problems.Add(Outcome.Problem("search-parameter-unknown", $"the parameter '{name}'", $"one of {string.Join(", ", names)}", at));
    }

    /// <summary>The text of a parameter; null where it is not there.</summary>
    public string? Text(string name) => Texts(name).FirstOrDefault().Text;

    /// <summary>A yes or no.</summary>
    public bool? Boolean(string name)
    {
        if (Texts(name).FirstOrDefault() is not { Text: { } text, At: var at })
            return null;
        if (text is "true" or "false")
            return text == "true";
        Problem(at, $"'{text}'", "true or false");
        return null;
    }

    /// <summary>A number from 1.</summary>
    public int? Number(string name)
    {
        if (Texts(name).FirstOrDefault() is not { Text: { } text, At: var at })
            return null;
        if (int.TryParse(text, NumberStyles.None, CultureInfo.InvariantCulture, out var number) && number > 0)
            return number;
        Problem(at, $"'{text}'", "a whole number from 1");
        return null;
    }

    /// <summary>A moment.</summary>
    public Instant? Moment(string name)
    {
        if (Texts(name).FirstOrDefault() is not { Text: { } text, At: var at })
            return null;
        if (OffsetDateTimePattern.Rfc3339.Parse(text.Replace(' ', '+')) is { Success: true, Value: var given })
            return given.ToInstant();
        Problem(at, $"'{text}'", "an instant such as 2026-03-15T07:00:00Z");
        return null;
    }

    /// <summary>Patients, by address or identifier.</summary>
    public IReadOnlyList<ScannedPatient> Patients(string name)
    {
        var patients = new List<ScannedPatient>();
        foreach (var (text, at) in Texts(name))
        {
            if (text.IndexOf('|', StringComparison.Ordinal) is >= 0 and var bar && bar + 1 < text.Length)
                patients.Add(new(null, text[..bar], text[(bar + 1)..]));
            else if (text.StartsWith("Patient/", StringComparison.Ordinal))
                patients.Add(new(text, "", ""));
            else
                Problem(at, $"'{text}'", "a reference such as Patient/one, or system|value of an identifier");
        }

        return patients;
    }

    /// <summary>The view of one parameter, of the address, or of the parts of one named <c>view</c>.</summary>
    /// <param name="views">Ours.</param>
    /// <param name="id">The id in the address; null for none.</param>
    public IReadOnlyList<(NamedView Named, ViewDefinition View)> Views(DomainViews views, string? id)
    {
        var found = new List<(NamedView, ViewDefinition)>();
        var groups = _parameters.Where(parameter => parameter.Name == "view").Select(view => Parts(view.Value, view.At)).ToList();
        if (groups.Count == 0)
            groups.Add([.. _parameters.Where(parameter => parameter.Name is "viewReference" or "viewResource")]);
        foreach (var group in groups)
        {
            var sent = group.Where(part => part.Name is "viewReference" or "viewResource").ToList();
            var name = group.Where(part => part.Name == "name").Select(part => TextOf(part.Value)).FirstOrDefault();
            if (sent.Count != (id is null ? 1 : 0))
            {
                Problem(
                    sent.Count > 1 ? sent[1].At : "viewReference",
                    $"{sent.Count} of viewReference and viewResource",
                    id is null ? "exactly one" : "none: the view is in the address"
                );
                continue;
            }

            if (id is not null || sent[0].Name == "viewReference")
                Known(id ?? TextOf(sent[0].Value) ?? "", name, id is null ? sent[0].At : "id", views, found);
            else
                Sent(sent[0].Value, name, sent[0].At, found);
        }

        foreach (var twice in found.GroupBy(view => view.Item1.Name).Where(group => group.Count() > 1))
            Problem("view", $"the name '{twice.Key}' {twice.Count()} times", "each table under a name of its own: say view.name");
        return found;
    }

    /// <summary>Takes the resources that were sent along.</summary>
    public void TakeResources()
    {
        foreach (var (_, value, at) in _parameters.Where(parameter => parameter.Name == "resource"))
        {
            if (
                value.ValueKind == JsonValueKind.Object
                && value.TryGetProperty("resource", out var resource)
                && resource.ValueKind == JsonValueKind.Object
            )
                Resources.Add(System.Text.Encoding.UTF8.GetBytes(resource.GetRawText()));
            else
                Problem($"{at}.resource", "nothing", "a resource");
        }
    }

    /// <summary>Something is wrong.</summary>
    public void Problem(string where, string saw, string expected) =>
        _problems.Add(Outcome.Problem("search-value-invalid", saw, expected, where));

    private void Known(string reference, string? name, string at, DomainViews views, List<(NamedView, ViewDefinition)> found)
    {
        var word = reference.StartsWith("ViewDefinition/", StringComparison.Ordinal) ? reference["ViewDefinition/".Length..] : reference;
        if (views.Find(word) is { } view)
        {
            found.Add((new(SafeName(name, view.View.Name), word, null), view.View));
            return;
        }

        ViewIsUnknown = true;
        _problems.Add(
            Outcome.Problem("unknown-resource", $"'{reference}'", $"a view: {string.Join(", ", views.All.Select(known => known.Id))}", at)
        );
    }

    private void Sent(JsonElement parameter, string? name, string at, List<(NamedView, ViewDefinition)> found)
    {
        if (parameter.ValueKind != JsonValueKind.Object || !parameter.TryGetProperty("resource", out var resource))
        {
            Problem($"{at}.resource", "nothing", "a ViewDefinition");
            return;
        }

        var (view, problems) = ViewReader.Read(resource);
        if (view is not null)
        {
            found.Add((new(SafeName(name, view.Name), null, resource.GetRawText()), view));
            return;
        }

        ViewIsInvalid = true;
        _problems.AddRange(
            problems.Select(problem => Outcome.Problem("view-invalid", problem.Saw, problem.Expected, $"{at}.resource.{problem.Where}"))
        );
    }

    /// <summary>A name that can be a file's.</summary>
    private string SafeName(string? asked, string otherwise)
    {
        var name = asked ?? otherwise;
        if (name.Length is > 0 and <= 100 && name.All(c => char.IsAsciiLetterOrDigit(c) || c is '_' or '-'))
            return name;
        Problem("name", $"'{name}'", "letters, digits, hyphens and underscores");
        return "view";
    }

    private static List<(string Name, JsonElement Value, string At)> Parts(JsonElement view, string at) =>
        view.ValueKind == JsonValueKind.Object && view.TryGetProperty("part", out var parts) && parts.ValueKind == JsonValueKind.Array
            ?
            [
                .. parts
                    .EnumerateArray()
                    .Select(
                        (part, i) =>
                            (
                                part.ValueKind == JsonValueKind.Object
                                && part.TryGetProperty("name", out var name)
                                && name.ValueKind == JsonValueKind.String
                                    ? name.GetString()!
                                    : "",
                                part,
                                $"{at}.part[{i}]"
                            )
                    ),
            ]
            : [];

    private IEnumerable<(string Text, string At)> Texts(string name)
    {
        foreach (var (_, value, at) in _parameters.Where(parameter => parameter.Name == name))
        {
            if (TextOf(value) is { } text)
                yield return (text, at);
        }
    }

    /// <summary>The value of a parameter, from the address or by its one <c>value[x]</c>.</summary>
    private static string? TextOf(JsonElement parameter)
    {
        if (parameter.ValueKind == JsonValueKind.String)
            return parameter.GetString();
        if (parameter.ValueKind != JsonValueKind.Object)
            return null;
        foreach (var member in parameter.EnumerateObject().Where(member => member.Name.StartsWith("value", StringComparison.Ordinal)))
        {
            var value = member.Value;
            if (value.ValueKind == JsonValueKind.Object)
            {
                if (value.TryGetProperty("reference", out var reference) && reference.ValueKind == JsonValueKind.String)
                    return reference.GetString();
                var identifier =
                    value.TryGetProperty("identifier", out var inside) && inside.ValueKind == JsonValueKind.Object ? inside : value;
                string Part(string name) =>
                    identifier.TryGetProperty(name, out var text) && text.ValueKind == JsonValueKind.String ? text.GetString()! : "";
                return $"{Part("system")}|{Part("value")}";
            }

            return value.ValueKind == JsonValueKind.String ? value.GetString() : value.GetRawText();
        }

        return null;
    }
}
