using System.Text;
using System.Text.Encodings.Web;
using System.Text.Json;
using System.Text.Json.Nodes;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Analytics;

/// <summary>A view that is published: its definition in JSON, and as read.</summary>
/// <param name="Id">Its id; the name with hyphens.</param>
/// <param name="Json">The ViewDefinition.</param>
/// <param name="View">The same, read.</param>
internal sealed record PublishedView(string Id, JsonObject Json, ViewDefinition View)
{
    private static readonly JsonSerializerOptions Readable = new()
    {
        WriteIndented = true,
        NewLine = "\n",
        Encoder = JavaScriptEncoder.UnsafeRelaxedJsonEscaping,
    };

    /// <summary>The definition for people.</summary>
    public byte[] Text => Encoding.UTF8.GetBytes(Json.ToJsonString(Readable) + "\n");
}

/// <summary>
/// Our resources as tables: what a row is, and what each column means. Everything that can be joined has the key of what it is joined with;
/// every number has the status, the time and the coverage beside it without which it must not be read.
/// </summary>
/// <param name="profiles">Our words.</param>
internal sealed class DomainViews(Profiles profiles)
{
    /// <summary>The version of all of them: a column that goes or changes its meaning makes another.</summary>
    public const string Version = Profiles.Version;

    private const string Sql = "DECIMAL(18,6)";

    private readonly Lazy<IReadOnlyList<PublishedView>> _all = new(() => [.. Definitions(profiles).Select(Published)]);

    /// <summary>All views, in the order in which they are explained.</summary>
    public IReadOnlyList<PublishedView> All => _all.Value;

    /// <summary>A view by its name, id or canonical URL, with or without its version; null for none.</summary>
    public PublishedView? Find(string name) =>
        All.FirstOrDefault(view =>
            name == view.Id || name == view.View.Name || name == view.View.Url || name == $"{view.View.Url}|{view.View.Version}"
        );

    private static PublishedView Published(JsonObject json) =>
        new((string)json["id"]!, json, ViewReader.Known(Encoding.UTF8.GetBytes(json.ToJsonString())));

    private static IEnumerable<JsonObject> Definitions(Profiles profiles)
    {
        var own = new ViewTexts(profiles);
        yield return own.View(
            "corrected_output",
            "Corrected urine output",
            "One row for each closed interval, clock hour, shift and local day of an irrigation. Sum rows of one window_kind only: "
                + "hours, shifts and days are shares of the same intervals.",
            "Observation",
            [ViewTexts.IsOutput()],
            ViewTexts.Output()
        );
        foreach (
            var (name, title, row, window) in new[]
            {
                ("output_intervals", "Corrected urine output from one drainage reading to the next", "closed interval", "closed-interval"),
                ("output_hours", "Corrected urine output by the clock hour", "clock hour that is covered throughout", "clock-hour"),
                ("output_shifts", "Corrected urine output by the shift", "shift of which anything is known", "shift"),
                ("output_days", "Corrected urine output by the local day", "local day of which anything is known", "local-day"),
            }
        )
        {
            yield return own.View(
                name,
                title,
                $"One row for each {row}. A number stands in corrected_ml only where the whole of it is covered; else in partial_ml.",
                "Observation",
                [ViewTexts.IsOutput(), $"category.coding.exists(system = %window and code = '{window}')"],
                ViewTexts.Output()
            );
        }

        yield return own.View(
            "output_caveats",
            "Caveats of corrected urine output",
            "One row for each caveat of a row of corrected_output: what to know before relying on it.",
            "Observation",
            [ViewTexts.IsOutput()],
            ViewTexts.Select(ViewTexts.Key("corrected_output"), ViewTexts.Patient()),
            ViewTexts.ForEach(
                ViewTexts.Component("caveat"),
                new("caveat_index", "integer", "%rowIndex", "Place of the caveat in its Observation, from 0."),
                new(
                    "caveat",
                    "code",
                    "value.ofType(CodeableConcept).coding.where(system = %caveat).code.first()",
                    "The caveat; the code system caveat defines each."
                ),
                new("caveat_text", "string", "value.ofType(CodeableConcept).text", "Particulars in words, where there are any.")
            )
        );
        yield return own.View(
            "output_sources",
            "What corrected urine output rests on",
            "One row for each resource that a row of corrected_output was worked out from: down to the readings as charted.",
            "Observation",
            [ViewTexts.IsOutput()],
            ViewTexts.Select(ViewTexts.Key("corrected_output"), ViewTexts.Patient()),
            ViewTexts.ForEach(
                "derivedFrom",
                new("source_index", "integer", "%rowIndex", "Place of the source in its Observation, from 0."),
                new("source_key", "string", "getReferenceKey(Observation)", "resource_key of the Observation that it rests on.")
            )
        );
        yield return own.View(
            "urine_output_rates",
            "Urine output rates",
            "One row for each rate of urine output that was published, with the weight that it was related to.",
            "Observation",
            [ViewTexts.Code("urine-output-rate")],
            ViewTexts.Select(
                ViewTexts.Common("Observation"),
                ViewTexts.Times("effective.ofType(Period).start", "effective.ofType(Period).end"),
                [
                    ViewTexts.Number("rate_ml_per_h", "value.ofType(Quantity).value", "Urine output rate in mL/h. Below 0 is kept: look."),
                    ViewTexts.Quantity("rate_ml_per_kg_per_h", "urine-output-rate-per-weight", "The same in mL/kg/h by the weight beside."),
                    ViewTexts.Bound("interval95_low_ml_per_h", "interval-95", "low", "Lower end of its 95 % interval in mL/h."),
                    ViewTexts.Bound("interval95_high_ml_per_h", "interval-95", "high", "Upper end of its 95 % interval in mL/h."),
                    ViewTexts.Quantity("weight_kg", "body-weight", "The weight that it is related to, in kg."),
                    ViewTexts.Concept("weight_kind", "weight-kind", "Which kind of weight that is: actual, ideal, …"),
                    ViewTexts.Absent(),
                ]
            )
        );
        yield return own.View(
            "urine_output_criteria",
            "Urine-output criteria",
            "One row for each criterion of an episode, as it is answered now; its earlier answers are versions of the Observation. "
                + "An output-only result is a urine-output criterion, never a diagnosis.",
            "Observation",
            [ViewTexts.Code("urine-output-criterion")],
            ViewTexts.Select(
                ViewTexts.Common("Observation"),
                [new("criterion", "code", "code.coding.where(system = %criterion).code.first()", "Which criterion, such as kdigo-1.")],
                ViewTexts.Times("effective.ofType(Period).start", "effective.ofType(Period).end"),
                ViewTexts.Criterion()
            )
        );
        yield return own.View(
            "flags",
            "Flags",
            "One row for each flag as it stands: also cleared ones (ended_at) and those taken back (is_retracted).",
            "Flag",
            [],
            ViewTexts.Select(ViewTexts.Common("Flag"), ViewTexts.Flag())
        );
        yield return own.View(
            "flag_evidence",
            "What flags rest on",
            "One row for each resource that a flag points at.",
            "Flag",
            [],
            ViewTexts.Select(ViewTexts.Key("flags"), ViewTexts.Patient()),
            ViewTexts.ForEach(
                "extension(%flag_detail)",
                new("detail_index", "integer", "%rowIndex", "Place of the evidence in its Flag, from 0."),
                new("detail_key", "string", "value.ofType(Reference).getReferenceKey()", "resource_key of what it points at.")
            )
        );
        yield return own.View(
            "corrections",
            "Corrections and withdrawals",
            "One row for each resource that a Provenance says was changed or taken back: when, by whom and why.",
            "Provenance",
            [],
            ViewTexts.Select(
                ViewTexts.Key(null),
                [
                    new("last_updated", "instant", "meta.lastUpdated", "When this version was stored, in UTC."),
                    new("recorded_at", "instant", "recorded", "When the service recorded it, in UTC."),
                    new(
                        "activity",
                        "code",
                        "activity.coding.code.first()",
                        "UPDATE where it was changed, NULLIFY where it was taken back."
                    ),
                    new("agent_id", "string", "agent.who.identifier.value.first()", "Who said so: a person, or what brought it in."),
                    new("reason_text", "string", "reason.text.first()", "Why, in words, where it was said."),
                    new(
                        "episode_key",
                        "string",
                        "extension(%part_of).value.ofType(Reference).getReferenceKey(Procedure).first()",
                        "resource_key of the irrigation in irrigation_episodes."
                    ),
                ]
            ),
            ViewTexts.ForEach(
                "target",
                new("target_index", "integer", "%rowIndex", "Place of the target in its Provenance, from 0."),
                new("target_key", "string", "getReferenceKey()", "resource_key of what was changed or taken back."),
                new("target_reference", "string", "reference", "The same with the version that came of it.")
            )
        );
        foreach (
            var (name, title, row, condition) in new[]
            {
                (
                    "irrigation_episodes",
                    "Irrigations",
                    "episode of irrigation, with what ran in and came out of it so far",
                    "partOf.empty()"
                ),
                ("irrigation_runs", "Runs of cycles", "intermittent or open irrigation within an episode", "partOf.exists()"),
            }
        )
        {
            var select = ViewTexts.Select(ViewTexts.Irrigation());
            yield return own.View(name, title, $"One row for each {row}.", "Procedure", [condition], select);
        }

        yield return own.View(
            "irrigant_readings",
            "Irrigant that ran in",
            "One row for each amount of irrigant as charted. Litres of irrigant by patient and day are a sum of these.",
            "Observation",
            [ViewTexts.Code("irrigant-instilled")],
            ViewTexts.Select(
                ViewTexts.Common("Observation"),
                ViewTexts.Reading(),
                ViewTexts.Times("effective.ofType(Period).start", "effective.ofType(Period).end"),
                [
                    ViewTexts.Number("irrigant_ml", "value.ofType(Quantity).value", "Irrigant in mL; null where it is not known."),
                    ViewTexts.Absent(),
                ]
            )
        );
        yield return own.View(
            "drainage_readings",
            "Drainage",
            "One row for each reading of the drainage as charted: irrigant, urine and blood together, and never urine output.",
            "Observation",
            [ViewTexts.Code("bladder-drainage-total")],
            ViewTexts.Select(
                ViewTexts.Common("Observation"),
                ViewTexts.Reading(),
                [
                    ViewTexts.Number("drained_ml", "value.ofType(Quantity).value", "Drainage in mL; null where it is not known."),
                    new(
                        "was_emptied",
                        "boolean",
                        $"{ViewTexts.Component("container-emptied")}.value.ofType(boolean).first()",
                        "Whether the container was emptied then; else its level was read."
                    ),
                    ViewTexts.Quantity("container_g", "container-mass", "Net mass in g, where it was weighed."),
                    ViewTexts.Absent(),
                ]
            )
        );
    }

    /// <summary>A column in the making.</summary>
    private sealed record Column(string Name, string Type, string Path, string Description, string? SqlType = null)
    {
        public JsonObject ToJson()
        {
            var json = new JsonObject
            {
                ["name"] = Name,
                ["path"] = Path,
                ["type"] = Type,
                ["description"] = Description,
            };
            if (SqlType is not null)
                json["tag"] = new JsonArray(new JsonObject { ["name"] = "ansi/type", ["value"] = SqlType });
            return json;
        }
    }

    /// <summary>What several views say alike.</summary>
    private sealed class ViewTexts(Profiles profiles)
    {
        private const string Windows = "closed-interval, clock-hour, shift or local-day";

        /// <summary>Constants that views may name; each has those that it names.</summary>
        private (string Name, string Value)[] Constants =>
            [
                ("observation", profiles.CodeSystem("irrigation-observation")),
                ("window", profiles.CodeSystem("output-window")),
                ("caveat", profiles.CodeSystem("caveat")),
                ("criterion", profiles.CodeSystem("urine-output-criterion")),
                ("flag", profiles.CodeSystem("irrigation-flag")),
                ("kind", profiles.CodeSystem("irrigation-kind")),
                ("way", profiles.CodeSystem("measuring-way")),
                ("calculation", profiles.CodeSystem("calculation-method")),
                ("entry", $"{profiles.CanonicalBase}/NamingSystem/entry"),
                ("statement", profiles.FlagStatement),
                ("acknowledged", profiles.FlagAcknowledged),
                ("time_to_acknowledge", profiles.FlagTimeToAcknowledge),
                ("priority", Profiles.CoreFlagPriority),
                ("flag_detail", Profiles.CoreFlagDetail),
                ("part_of", profiles.PartOfIrrigation),
                ("account", profiles.IrrigationAccount),
                ("uncertainty", "http://hl7.org/fhir/StructureDefinition/iso21090-uncertainty"),
            ];

        public JsonObject View(
            string name,
            string title,
            string description,
            string resource,
            IEnumerable<string> where,
            params IEnumerable<JsonObject> selects
        )
        {
            var id = name.Replace('_', '-');
            var json = new JsonObject
            {
                ["resourceType"] = "ViewDefinition",
                ["id"] = id,
                ["url"] = $"{profiles.CanonicalBase}/ViewDefinition/{id}",
                ["version"] = Version,
                ["name"] = name,
                ["title"] = title,
                ["status"] = "active",
                ["experimental"] = false,
                ["date"] = Profiles.PublishedOn,
                ["publisher"] = "IrrigationFhir",
                ["description"] = description,
                ["resource"] = resource,
                ["fhirVersion"] = new JsonArray("4.0.1"),
            };
            var select = new JsonArray([.. selects]);
            var conditions = new JsonArray([.. where.Select(path => new JsonObject { ["path"] = path })]);
            var paths = select.ToJsonString() + conditions.ToJsonString();
            var named = Constants.Where(constant => System.Text.RegularExpressions.Regex.IsMatch(paths, $"%{constant.Name}(?![A-Za-z_])"));
            json["constant"] = new JsonArray([
                .. named.Select(constant => new JsonObject { ["name"] = constant.Name, ["valueUri"] = constant.Value }),
            ]);
            if (conditions.Count > 0)
                json["where"] = conditions;
            json["select"] = select;
            return json;
        }

        public static JsonObject Select(params IEnumerable<IEnumerable<Column>> columns) =>
            new() { ["column"] = new JsonArray([.. columns.SelectMany(some => some).Select(column => column.ToJson())]) };

        public static JsonObject ForEach(string path, params IEnumerable<Column> columns) =>
            new() { ["forEach"] = path, ["column"] = new JsonArray([.. columns.Select(column => column.ToJson())]) };

        public static string Component(string slug) => $"component.where(code.coding.exists(system = %observation and code = '{slug}'))";

        public static string Code(string slug) => $"code.coding.exists(system = %observation and code = '{slug}')";

        /// <summary>Nothing else has a window among its categories.</summary>
        public static string IsOutput() => "category.coding.exists(system = %window)";

        public static Column Number(string name, string path, string description) => new(name, "decimal", path, description, Sql);

        public static Column Quantity(string name, string slug, string description) =>
            Number(name, $"{Component(slug)}.value.ofType(Quantity).value.first()", description);

        public static Column Bound(string name, string slug, string end, string description) =>
            Number(name, $"{Component(slug)}.value.ofType(Range).{end}.value.first()", description);

        public static Column Concept(string name, string slug, string description) =>
            new(name, "code", $"{Component(slug)}.value.ofType(CodeableConcept).coding.code.first()", description);

        public static IEnumerable<Column> Times(string start, string end) =>
            [
                .. Time("started_at", start, "When it begins"),
                .. Time("ended_at", end, "When it ends; what happens at that moment is no longer in it"),
            ];

        public static IEnumerable<Column> Time(string name, string path, string description) =>
            [
                new(name, "dateTime", path, $"{description}: in files in UTC."),
                new($"{name}_local", "string", path, $"{description}: as published, on the ward's clock with its offset."),
            ];

        public static IEnumerable<Column> Key(string? of) =>
            [
                new(
                    "resource_key",
                    "string",
                    "getResourceKey()",
                    of is null ? "Type and id of the resource." : $"resource_key of the row in {of}."
                ),
            ];

        public static IEnumerable<Column> Patient() =>
            [
                new("patient_system", "uri", "subject.identifier.system", "Namespace of patient_id."),
                new("patient_id", "string", "subject.identifier.value", "The patient, by the identifier that was sent with the episode."),
                new(
                    "patient_key",
                    "string",
                    "subject.getReferenceKey(Patient)",
                    "The patient by address, where the episode was sent with one."
                ),
            ];

        public static IEnumerable<Column> Common(string type) =>
            [
                .. Key(null),
                new(
                    "status",
                    "code",
                    "status",
                    type == "Observation"
                        ? "preliminary while it will change, final, amended, corrected; entered-in-error is withdrawn: leave it out first."
                        : "active, inactive when it ended; entered-in-error was taken back: it was never so."
                ),
                new("last_updated", "instant", "meta.lastUpdated", "When this version was stored, in UTC."),
                new("version_id", "string", "meta.versionId", "Which version this is: above 1 it was another number before."),
                .. Patient(),
                new("encounter_id", "string", "encounter.identifier.value", "The stay, by the identifier that was sent with the episode."),
                new(
                    "episode_key",
                    "string",
                    type == "Observation"
                        ? "partOf.getReferenceKey(Procedure).first()"
                        : "extension(%part_of).value.ofType(Reference).getReferenceKey(Procedure).first()",
                    "resource_key of the irrigation in irrigation_episodes."
                ),
            ];

        public static Column Absent() =>
            new("absent_reason", "code", "dataAbsentReason.coding.code.first()", "Why there is no number; null where there is one.");

        public static IEnumerable<Column> Reading() =>
            [
                new("entry_key", "string", "identifier.where(system = %entry).value.first()", "Source and id of the entry as it was sent."),
                .. Time("happened_at", "effective.ofType(dateTime)", "When it happened, where it happened at a moment"),
                new(
                    "measuring_way",
                    "code",
                    "method.coding.where(system = %way).code.first()",
                    "How it was measured: label, graduation, weighed, pump, …; null where nobody said."
                ),
            ];

        /// <summary>Of a window the simple number stands beside the headline only where the two differ.</summary>
        public static JsonObject[] Output() =>
            [
                Select(
                    Common("Observation"),
                    [new("window_kind", "code", "category.coding.where(system = %window).code.first()", $"What it covers: {Windows}.")],
                    Times("effective.ofType(Period).start", "effective.ofType(Period).end"),
                    [
                        new(
                            "is_whole",
                            "boolean",
                            $"{Component("covered-duration")}.empty()",
                            "Whether the whole of it is covered by readings. A day that is not is no day's output."
                        ),
                        Quantity("covered_h", "covered-duration", "Hours of it that are covered, where that is not the whole; else null."),
                        Number(
                            "corrected_ml",
                            "value.ofType(Quantity).value",
                            "Corrected urine output in mL, of the whole of it; null where it is not known. Below 0 is kept: fluid stayed"
                                + " behind, leaked, or a volume is wrong."
                        ),
                        Quantity(
                            "partial_ml",
                            "partial-volume",
                            "Corrected urine output in mL of the covered part, where that is not the whole."
                        ),
                        Quantity("best_ml", "best-estimate", "Best estimate in mL, with known bias taken out."),
                        Number(
                            "best_uncertainty_ml",
                            $"{Component("best-estimate")}.value.ofType(Quantity).extension(%uncertainty).value.ofType(decimal).first()",
                            "Standard uncertainty of best_ml in mL."
                        ),
                        Bound("interval95_low_ml", "interval-95", "low", "Lower end of the 95 % interval in mL."),
                        Bound("interval95_high_ml", "interval-95", "high", "Upper end of the 95 % interval in mL."),
                    ]
                ),
                Simple(),
                Select([
                    Quantity("irrigant_ml", "irrigant-instilled", "Irrigant that reached the bladder in mL; not of hours."),
                    Quantity("drained_ml", "bladder-drainage-total", "Drainage in mL, irrigant and all; not of hours."),
                    Quantity("retained_change_ml", "retained-change", "What the bladder held more at the end than at the start, in mL."),
                    Quantity("leaked_ml", "leak-estimated", "What leaked beside the catheter in mL, where it was estimated."),
                    new(
                        "calculation_method",
                        "code",
                        "method.coding.where(system = %calculation).code.first()",
                        "What was taken off what: drainage-minus-irrigant."
                    ),
                    Absent(),
                    new("has_caveat", "boolean", $"{Component("caveat")}.exists()", "Whether output_caveats has rows of it."),
                    new("has_doubt", "boolean", "note.exists()", "Whether a reading that it rests on is doubted."),
                ]),
            ];

        private static JsonObject Simple()
        {
            const string description =
                "Drainage minus irrigant as charted in mL, nothing else taken into account; null for hours, and where it is not known.";
            var own = Component("simple-output");
            const string hour = "category.coding.exists(system = %window and code = 'clock-hour')";
            return new()
            {
                ["unionAll"] = new JsonArray(
                    ForEach($"where({own}.exists() or {hour})", Quantity("simple_ml", "simple-output", description)),
                    ForEach($"where({own}.empty() and {hour}.not())", Number("simple_ml", "value.ofType(Quantity).value", description))
                ),
            };
        }

        public static IEnumerable<Column> Criterion() =>
            [
                new(
                    "answer",
                    "code",
                    "value.ofType(CodeableConcept).coding.code.first()",
                    "met, not-met, indeterminate (the interval covers the threshold) or not-evaluable (see first_obstacle)."
                ),
                new("criterion_reading", "code", "method.coding.code.first()", "How the window is read: mean-over-window or every-hour."),
                Quantity("threshold", "criterion-threshold", "What is compared with, in threshold_unit."),
                new(
                    "threshold_comparator",
                    "code",
                    $"{Component("criterion-threshold")}.value.ofType(Quantity).comparator.first()",
                    "How: < where the criterion is met below the threshold."
                ),
                new(
                    "threshold_unit",
                    "code",
                    $"{Component("criterion-threshold")}.value.ofType(Quantity).code.first()",
                    "UCUM unit of threshold, compared_value and interval."
                ),
                Quantity("compared_value", "criterion-value", "What was compared."),
                Bound("interval95_low", "interval-95", "low", "Lower end of its 95 % interval."),
                Bound("interval95_high", "interval-95", "high", "Upper end of its 95 % interval."),
                Quantity(
                    "probability_met_percent",
                    "probability-met",
                    "Probability that the criterion is met, in percent (JCGM 106:2012)."
                ),
                new(
                    "probability_met_is_at_most",
                    "boolean",
                    $"{Component("probability-met")}.value.ofType(Quantity).comparator.first() = '<='",
                    "true where it is at most so probable; null where it is so probable."
                ),
                new("is_whole", "boolean", $"{Component("coverage")}.empty()", "Whether the whole window is covered by readings."),
                Quantity("coverage_percent", "coverage", "Percent of the window that are covered, where that is not the whole; else null."),
                Concept("first_obstacle", "obstacle", "Why it is not evaluable; null where it is."),
                Concept("every_hour_answer", "every-hour-answer", "The answer where every hour has to meet it, as answer."),
                Quantity("every_hour_probability_met_percent", "every-hour-probability-met", "At most so probable, in percent."),
                Quantity("weight_kg", "body-weight", "The weight that it is related to, in kg."),
                Concept("weight_kind", "weight-kind", "Which kind of weight that is."),
            ];

        public static IEnumerable<Column> Flag() =>
            [
                new(
                    "flag",
                    "code",
                    "code.coding.where(system = %flag).code.first()",
                    "Which flag; the code system irrigation-flag defines each."
                ),
                new("flag_title", "string", "code.text", "Its title."),
                new("flag_category", "code", "category.coding.code.first()", "clinical, safety, data-quality, …"),
                new(
                    "priority",
                    "code",
                    "extension(%priority).value.ofType(CodeableConcept).coding.code.first()",
                    "PL, PM or PH: low, medium, high."
                ),
                .. Time("raised_at", "period.start", "When its pattern was there"),
                .. Time("ended_at", "period.end", "When its pattern ended; null while it stands"),
                .. Time("acknowledged_at", "extension(%acknowledged).value.ofType(dateTime).first()", "When somebody had seen it"),
                Number(
                    "minutes_to_acknowledge",
                    "extension(%time_to_acknowledge).value.ofType(Quantity).value.first()",
                    "Minutes from raised_at until somebody had seen it; null where nobody has."
                ),
                new("is_retracted", "boolean", "status = 'entered-in-error'", "Whether it was taken back; when and why is in corrections."),
                new(
                    "statement",
                    "string",
                    "extension(%statement).value.ofType(string).first()",
                    "What it says, with its numbers and cautions."
                ),
            ];

        public static IEnumerable<Column> Irrigation()
        {
            string Part(string name) => $"extension(%account).extension('{name}').value.ofType(Quantity).value.first()";
            return
            [
                .. Key(null),
                new("status", "code", "status", "preparation, in-progress, completed, stopped, not-done; entered-in-error is withdrawn."),
                new("last_updated", "instant", "meta.lastUpdated", "When this version was stored, in UTC."),
                new("version_id", "string", "meta.versionId", "Which version this is."),
                .. Patient(),
                new("encounter_id", "string", "encounter.identifier.value", "The stay, by the identifier that was sent with the episode."),
                new("episode_key", "string", "partOf.getReferenceKey(Procedure).first()", "Of a run, resource_key of its irrigation."),
                new("irrigation_system", "uri", "identifier.system.first()", "Namespace of irrigation_id."),
                new("irrigation_id", "string", "identifier.value.first()", "The identifier that it was sent with."),
                new("order_id", "string", "basedOn.identifier.value.first()", "The order, where there is one."),
                new("irrigation_kind", "code", "code.coding.where(system = %kind).code.first()", "continuous, intermittent or open."),
                .. Time("started_at", "performed.ofType(Period).start", "When irrigant first ran in"),
                .. Time("ended_at", "performed.ofType(Period).end", "When it ended; null while it runs"),
                .. Time(
                    "counted_from",
                    "extension(%account).extension('time').value.ofType(Period).start.first()",
                    "What the sums begin with"
                ),
                .. Time("counted_to", "extension(%account).extension('time').value.ofType(Period).end.first()", "What the sums end with"),
                Number("instilled_ml", Part("instilled"), "Irrigant in that time, in mL."),
                Number("drained_ml", Part("drained"), "Drainage in that time, in mL."),
                Number(
                    "corrected_ml",
                    Part("corrected-output"),
                    "Corrected urine output in that time, in mL; null where a part is missing."
                ),
                new("solution_text", "string", "usedCode.text.first()", "The irrigant, in words."),
                new("gaps_text", "string", "note.text.first()", "What is missing or doubted in the sums, in words; null where nothing is."),
            ];
        }
    }
}
