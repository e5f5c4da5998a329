using System.Text;
using System.Text.Json.Nodes;
using Hl7.Fhir.FhirPath;
using Hl7.Fhir.Model;
using Hl7.FhirPath;
using Hl7.FhirPath.Expressions;
using IrrigationFhir.Fhir;
using IrrigationFhir.Store;
using IrrigationFhir.Tests.Repository;
using IrrigationFhir.Validation;
using Expression = Hl7.FhirPath.Expressions.Expression;

namespace IrrigationFhir.Tests.Validation;

/// <summary>Two resources of one shape are valid both or neither: rule by rule, and by thousands of spoilt resources.</summary>
public class ShapeTests
{
    private const string OwnTypes = "Observation Procedure Flag Provenance";

    /// <summary>
    /// Invariants that read a leaf whose value is not part of a shape, each with what the shape holds in its place. One that is not here
    /// is one whose comparison nobody has thought of.
    /// </summary>
    private static readonly Dictionary<string, string> Covered = new()
    {
        ["per-1"] = "the order of start and end",
        ["rng-2"] = "the order of low and high",
        ["txt-1"] = "the tags, and text that is escaped",
        ["txt-2"] = "at least one paragraph, and none without text",
        ["ref-1"] = "only a relative reference to a type is replaced: none that begins with #",
        ["dom-3"] = "what is contained has no shape",
        ["tim-4"] = "kept as it is",
        ["tim-5"] = "kept as it is: a number of that name",
        ["tim-9"] = "kept as it is",
        ["age-1"] = "the sign",
        ["cnt-3"] = "a count has no decimals there, and is never in a shape's types",
        ["cuo-timed-length"] = "lengths of 1, 8, 12 and 24 hours, and the order of start and end",
        ["cuo-interval"] = "the best estimate against both ends",
        ["uoc-met"] = "the threshold against both ends",
        ["uoc-probability"] = "the sign, and 100",
        ["bw-above-zero"] = "the sign",
        ["ifr-drop-factor"] = "the sign",
        ["vs-1"] = "the plainest form of a time is long enough",
        ["tol-pain"] = "the sign, 10, and whether it is whole",
    };

    /// <summary>Elements that stand in a shape as they are, wherever an invariant reads them.</summary>
    private static readonly string[] Kept = ["code", "coding", "status", "system", "type", "url"];

    private static IReadOnlyList<StructureDefinition> Structures { get; } =
    [.. Definitions.Own(Ours.Profiles.CanonicalBase).Concat(Definitions.OfR4()).OfType<StructureDefinition>()];

    [Fact]
    public void Every_invariant_that_reads_a_replaced_leaf_is_named_with_what_the_shape_holds_for_it()
    {
        var compiler = new FhirPathCompiler();
        var reading = (
            from structure in Structures.Where(OfShapes)
            from element in structure.Snapshot!.Element
            from constraint in element.Constraint
            where constraint is { Severity: ConstraintSeverity.Error, Expression: not null, Key: not "ele-1" }
            where IsLeaf(element) || Read(compiler.Parse(constraint.Expression!), true).Except(Kept).Any()
            select (Key: constraint.Key!, constraint.Expression)
        )
            .Distinct()
            .ToList();
        var uncovered = reading.Where(constraint => !Covered.ContainsKey(constraint.Key)).ToList();
        Assert.True(uncovered.Count == 0, string.Join('\n', uncovered));
        Assert.True(
            Covered.Keys.All(key => reading.Exists(constraint => constraint.Key == key)),
            string.Join(' ', Covered.Keys.Except(reading.Select(constraint => constraint.Key)))
        );
    }

    [Fact]
    public void No_profile_fixes_binds_or_limits_a_replaced_leaf()
    {
        foreach (var (structure, element) in Structures.Where(OfShapes).SelectMany(s => s.Snapshot!.Element.Select(e => (s, e))))
        {
            foreach (var said in new DataType?[] { element.Fixed, element.Pattern }.OfType<DataType>())
                Assert.False(Properties(said).Any(ShapeReader.Leaves.ContainsKey), $"{structure.Url}: {element.ElementId}");
            if (
                structure.Kind == StructureDefinition.StructureDefinitionKind.PrimitiveType // its form is the plainest
                || !ShapeReader.Leaves.ContainsKey(element.Path!.Split('.')[^1])
            )
                continue;
            Assert.True(element.MinValue is null && element.MaxValue is null && element.MaxLength is null, element.ElementId);
            Assert.False(element.Binding is { Strength: BindingStrength.Required }, element.ElementId);
        }
    }

    /// <summary>Every ninth of those that can be made; SHAPES_EVERY=1 judges all of them, which takes minutes.</summary>
    [Fact]
    public void Resources_of_one_shape_are_valid_both_or_neither()
    {
        var verdicts = new Dictionary<string, (bool Valid, string Json)>();
        var (judged, invalid, reader) = (0, 0, new ShapeReader());
        var every = int.Parse(Environment.GetEnvironmentVariable("SHAPES_EVERY") ?? "9", System.Globalization.CultureInfo.InvariantCulture);
        foreach (var json in Originals().SelectMany(Spoilt).Distinct().Where((_, i) => i % every == 0))
        {
            if (Read(json) is not { } resource || !reader.Read(FhirJson.WriteUtf8(resource)))
                continue;
            var shape = Convert.ToHexString(reader.Found);
            var valid = Judged.Validator.Validate(resource).Count == 0;
            (judged, invalid) = (judged + 1, invalid + (valid ? 0 : 1));
            if (verdicts.TryGetValue(shape, out var before))
                Assert.True(before.Valid == valid, $"one shape, two verdicts ({before.Valid}, {valid}):\n{before.Json}\n{json}");
            else
                verdicts.Add(shape, (valid, json));
        }

        // Otherwise nothing would have been compared.
        Assert.True(
            judged > 2000 && invalid > 500 && judged - verdicts.Count > 500,
            $"{judged}, {invalid} invalid, {verdicts.Count} shapes"
        );
    }

    [Fact]
    public void A_resource_of_a_known_shape_is_not_judged_again_but_for_one_in_many()
    {
        var (full, reader) = (0, new ShapeReader());
        var shapes = new KnownShapes(_ =>
        {
            full++;
            return [];
        });
        const int Times = KnownShapes.JudgedAnyway * 3;
        for (var i = 0; i < Times; i++)
        {
            var written = Written(Judged.Observation("bladder-drainage", o => o.Id = $"drained-{i}"));
            if (!shapes.Knows(written, reader))
                Assert.Empty(shapes.Judge(written, reader));
        }

        Assert.Equal((1, 3), (shapes.Count, full)); // the first, and two of those that would have been known
    }

    [Fact]
    public void A_known_shape_that_is_found_wrong_is_told_and_all_are_forgotten()
    {
        var (faulty, reader) = (false, new ShapeReader());
        var shapes = new KnownShapes(_ => faulty ? [new("made-up", "Observation", "for the test")] : []);
        var (one, other) = (Written(Judged.Example<Observation>("bladder-drainage")), Written(Judged.Example<Flag>("irrigation-flag")));
        shapes.Judge(one, reader);
        shapes.Judge(other, reader);
        Assert.True(shapes.Knows(one, reader) && shapes.Knows(other, reader));

        faulty = true;
        Assert.NotEmpty(shapes.Judge(one, reader));

        Assert.Equal((0, 1), (shapes.Count, shapes.Differences));
        Assert.False(shapes.Knows(other, reader));
    }

    [Fact]
    public void Narratives_by_the_template_are_one_shape_whatever_they_say_and_others_stay_as_they_are()
    {
        var reader = new ShapeReader();
        string Shape(Narrative? told)
        {
            var flag = Judged.Example<Flag>("irrigation-flag");
            flag.Text = told;
            Assert.True(reader.Read(FhirJson.WriteUtf8(flag)));
            return Convert.ToHexString(reader.Found);
        }

        var one = Shape(IrrigationFhir.Fhir.Narratives.Of("Outflow deficit", ["600 mL in, 250 mL out: < 300 & \"late\", it's 14 °C"]));
        Assert.Equal(one, Shape(IrrigationFhir.Fhir.Narratives.Of("Anuria", ["nothing since 13:00"])));
        Assert.NotEqual(one, Shape(IrrigationFhir.Fhir.Narratives.Of("Anuria", ["nothing", "since 13:00"])));
        var script = IrrigationFhir.Fhir.Narratives.Of("Anuria", ["nothing"]);
        script.Div = script.Div!.Replace("nothing", "<script>x</script>", StringComparison.Ordinal);
        Assert.NotEqual(one, Shape(script));
    }

    [Fact]
    public void What_is_wrong_is_never_remembered()
    {
        var reader = new ShapeReader();
        var shapes = new KnownShapes(Judged.Validator.Validate);
        var spoilt = Written(Judged.Observation("bladder-drainage", o => o.Subject = null));

        Assert.NotEmpty(shapes.Judge(spoilt, reader));
        Assert.False(shapes.Knows(spoilt, reader));
        Assert.Equal((0, 0), (shapes.Count, shapes.Differences));
    }

    [Theory]
    [InlineData("\"2026-03-02T08:00:00+01:00\"", true)]
    [InlineData("\"2026-03-02T08:00:00Z\"", true)]
    [InlineData("\"2026-02-30T08:00:00Z\"", false)] // no such day
    [InlineData("\"2026-03-02\"", false)] // a day has two ends to compare
    [InlineData("\"2026-03-02T08:00:00.5Z\"", false)]
    [InlineData("\"2026-03-02T08:00:00\"", false)]
    public void Only_times_in_their_plainest_form_are_replaced(string time, bool replaced)
    {
        var reader = new ShapeReader();
        string Shape(string end) =>
            reader.Read(Encoding.UTF8.GetBytes($"{{\"resourceType\":\"Flag\",\"period\":{{\"start\":{end}}}}}"))
                ? Convert.ToHexString(reader.Found)
                : "none";
        Assert.Equal(replaced, Shape(time) == Shape("\"2020-01-01T00:00:00Z\""));
    }

    private static bool OfShapes(StructureDefinition structure) =>
        structure.Kind != StructureDefinition.StructureDefinitionKind.Resource
        || OwnTypes.Split(' ').Append("DomainResource").Append("Resource").Contains(structure.Type);

    private static bool IsLeaf(ElementDefinition element) =>
        element.Path!.Split('.')[^1] is var last
        && (last.EndsWith("[x]", StringComparison.Ordinal) ? last[..^3] + "DateTime" : last) is var name
        && ShapeReader.Leaves.ContainsKey(name)
        && element.Type.Exists(type => type.Code is "dateTime" or "instant" or "decimal" or "string" or "xhtml");

    /// <summary>
    /// The elements whose very values an expression reads; not those that it only goes through, or asks whether they are there.
    /// </summary>
    private static IEnumerable<string> Read(Expression expression, bool value) =>
        expression switch
        {
            ChildExpression child => Read(child.Focus, false).Concat(value ? [child.ChildName] : []),
            BracketExpression bracket => Read(bracket.Operand, value),
            BinaryExpression { Op: "|" } union => union.Arguments.SelectMany(part => Read(part, value)),
            FunctionCallExpression { FunctionName: "exists" or "empty" or "all" or "where" or "ofType" or "first" } call => Read(
                    call.Focus,
                    value && call.FunctionName is "where" or "ofType" or "first"
                )
                .Concat(call.Arguments.SelectMany(part => Read(part, true))),
            FunctionCallExpression call => Read(call.Focus, true).Concat(call.Arguments.SelectMany(part => Read(part, true))),
            NewNodeListInitExpression list => list.Contents.SelectMany(part => Read(part, value)),
            ConstantExpression or VariableRefExpression => [],
            null => [],
            _ => throw new NotSupportedException($"this test has to know what {expression.GetType().Name} reads"),
        };

    private static IEnumerable<string> Properties(Base element) =>
        element.EnumerateElements().SelectMany(child => Children(child.Value).SelectMany(Properties).Prepend(child.Key));

    private static IEnumerable<Base> Children(object value) =>
        value switch
        {
            Base one => [one],
            IEnumerable<Base> many => many,
            _ => [],
        };

    private static WrittenResource Written(Resource resource) => new(resource, FhirJson.WriteUtf8(resource));

    /// <summary>The profiles' examples, those that keep and break an invariant, and what was published of the examples' episodes.</summary>
    private static IEnumerable<string> Originals() =>
        Judged
            .Examples.Concat(InvariantExamples.All.SelectMany(example => new[] { example.Keeps(), example.Breaks() }))
            .Select(resource => FhirJson.Write(resource))
            .Concat(
                Repo.Files("fhir-examples", "*.json")
                    .Select(Repo.Read)
                    .Where(json => json.StartsWith("{\n  \"resourceType\"", StringComparison.Ordinal))
            )
            .Where(json => OwnTypes.Split(' ').Contains((string?)JsonNode.Parse(json)!["resourceType"]));

    /// <summary>A resource, and copies of it with one thing changed each: some stay valid, some do not.</summary>
    private static IEnumerable<string> Spoilt(string json)
    {
        yield return json;
        var places = Leaves(JsonNode.Parse(json)!, []).ToList();
        foreach (var place in places)
        {
            foreach (var other in Others(At(JsonNode.Parse(json)!, place)!.AsValue()))
            {
                var copy = JsonNode.Parse(json)!;
                Put(copy, place, other);
                yield return copy.ToJsonString();
            }

            var without = JsonNode.Parse(json)!;
            var around = At(without, place[..^1])!;
            if (around is JsonObject holder)
            {
                holder.Remove((string)place[^1]);
                yield return without.ToJsonString();
            }
        }

        foreach (var list in Lists(JsonNode.Parse(json)!, []))
        {
            var copy = JsonNode.Parse(json)!;
            var elements = At(copy, list)!.AsArray();
            elements.Add(elements[0]!.DeepClone());
            yield return copy.ToJsonString();
            elements.Add(elements[0]!.DeepClone());
            yield return copy.ToJsonString();
        }
    }

    private static IEnumerable<JsonNode> Others(JsonValue leaf)
    {
        if (leaf.TryGetValue(out decimal number))
        {
            foreach (var other in new[] { -number, 0, number * 10, number + 0.5m, number / 3, 101, 10, 11 })
                yield return JsonValue.Create(other);
            yield break;
        }

        if (!leaf.TryGetValue(out string? text))
            yield break;
        if (text.StartsWith("<div", StringComparison.Ordinal))
        {
            foreach (var other in Narratives(text))
                yield return JsonValue.Create(other);
            yield break;
        }

        if (DateTimeOffset.TryParse(text, System.Globalization.CultureInfo.InvariantCulture, out var time) && text.Length > 9)
        {
            foreach (var hours in new[] { -1000, -24, -12, -8, -1, 0, 1, 4, 7, 8, 12, 24, 1000 })
                yield return JsonValue.Create($"{time.AddHours(hours):yyyy-MM-ddTHH:mm:sszzz}");
            yield return JsonValue.Create(text + "x");
            yield break;
        }

        foreach (var other in new[] { "", " ", " " + text, text + " ", text + "x", "#" + text, "other", "met", "final", "Patient/p", "%" })
            yield return JsonValue.Create(other);
    }

    /// <summary>A narrative told otherwise, or spoilt: text, entities, tags, attributes, and what a page must not hold.</summary>
    private static IEnumerable<string> Narratives(string div)
    {
        foreach (
            var text in (string[])
                [
                    "other",
                    "a &amp; b",
                    "a &lt; b",
                    "a &#39; b",
                    "a &#233; b",
                    "\u00e9",
                    "",
                    " ",
                    " a",
                    "a ",
                    "a & b",
                    "a < b",
                    "a > b",
                    "&nbsp;",
                    "&#0;",
                ]
        )
            yield return $"<div xmlns=\"http://www.w3.org/1999/xhtml\"><p><b>Title</b></p><p>{text}</p></div>";
        yield return div.Replace("<p>", "<p onclick=\"x()\">", StringComparison.Ordinal);
        yield return div.Replace("<p>", "<script>", StringComparison.Ordinal).Replace("</p>", "</script>", StringComparison.Ordinal);
        yield return div.Replace("</b>", "", StringComparison.Ordinal);
        yield return div.Replace("</p>", "", StringComparison.Ordinal);
        yield return div.Replace(" xmlns=\"http://www.w3.org/1999/xhtml\"", "", StringComparison.Ordinal);
        yield return div.Replace("</div>", "<p>more</p></div>", StringComparison.Ordinal);
        yield return div.Replace("</div>", "<img src=\"x\"/></div>", StringComparison.Ordinal);
        yield return div.Replace("</div>", "", StringComparison.Ordinal);
        yield return "<div xmlns=\"http://www.w3.org/1999/xhtml\"></div>";
        yield return "<div xmlns=\"http://www.w3.org/1999/xhtml\"><p> </p></div>";
        yield return "<div xmlns=\"http://www.w3.org/1999/xhtml\">bare</div>";
        yield return "";
    }

    private static IEnumerable<object[]> Leaves(JsonNode node, object[] path) =>
        node switch
        {
            JsonObject holder => holder.SelectMany(property => Leaves(property.Value!, [.. path, property.Key])),
            JsonArray list => list.SelectMany((element, i) => Leaves(element!, [.. path, i])),
            _ => [path],
        };

    private static IEnumerable<object[]> Lists(JsonNode node, object[] path) =>
        node switch
        {
            JsonObject holder => holder.SelectMany(property => Lists(property.Value!, [.. path, property.Key])),
            JsonArray list => list.SelectMany((element, i) => Lists(element!, [.. path, i])).Prepend(path),
            _ => [],
        };

    private static JsonNode? At(JsonNode node, object[] path) =>
        path.Aggregate((JsonNode?)node, (at, step) => step is int i ? at![i] : at![(string)step]);

    private static void Put(JsonNode node, object[] path, JsonNode value)
    {
        var around = At(node, path[..^1])!;
        if (path[^1] is int i)
            around[i] = value;
        else
            around[(string)path[^1]] = value;
    }

    private static Resource? Read(string json)
    {
        try
        {
            return FhirJson.Read<Resource>(json);
        }
        catch (Exception unreadable)
            when (unreadable is Hl7.Fhir.Serialization.DeserializationFailedException or System.Text.Json.JsonException)
        {
            return null;
        }
    }
}
