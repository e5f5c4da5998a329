using System.Collections.Frozen;
using Hl7.Fhir.Model;

namespace IrrigationFhir.Fhir;

/// <summary>
/// Every code the service emits. A literal code or system outside this file, <see cref="Profiles"/> and the profiles' sources is a bug.
/// </summary>
/// <remarks>
/// Each call returns a new object, because FHIR objects are mutable. Codes of our own systems, with their displays,
/// are defined once, in <c>Profiles/terminology/*.fsh</c>; a slug that is not defined there is refused.
/// </remarks>
/// <param name="profiles">The base of our own systems.</param>
internal sealed class Codes(Profiles profiles)
{
    /// <summary>What whoever passes the codes on has to say of them.</summary>
    public const string Notice =
        "This material contains content from LOINC (http://loinc.org). LOINC is copyright Regenstrief Institute, Inc. and the "
        + "LOINC Committee, and is available at no cost under the license at http://loinc.org/license. SNOMED CT codes are "
        + "used by reference; whoever deploys this holds the licence that their country requires.";

    /// <summary>Systems of published vocabularies.</summary>
    public static class Systems
    {
        /// <summary>
        /// LOINC. LOINC is copyright Regenstrief Institute, Inc. and the LOINC Committee, available at no cost under the license at
        /// http://loinc.org/license.
        /// </summary>
        public const string Loinc = "http://loinc.org";

        /// <summary>SNOMED CT; the deployer holds the licence.</summary>
        public const string Snomed = "http://snomed.info/sct";

        /// <summary>IEEE 11073-10101, nomenclature of device data.</summary>
        public const string Mdc = "urn:iso:std:iso:11073:10101";

        /// <summary>Units of measure.</summary>
        public const string Ucum = "http://unitsofmeasure.org";

        /// <summary>ATC classes of medicines.</summary>
        public const string Atc = "http://www.whocc.no/atc";

        /// <summary>HL7 observation categories.</summary>
        public const string ObservationCategory = "http://terminology.hl7.org/CodeSystem/observation-category";

        /// <summary>HL7 reasons for a missing value.</summary>
        public const string DataAbsentReason = "http://terminology.hl7.org/CodeSystem/data-absent-reason";

        /// <summary>HL7 ways in which a RESTful service knows its callers.</summary>
        public const string SecurityService = "http://terminology.hl7.org/CodeSystem/restful-security-service";

        /// <summary>HL7 categories of flags.</summary>
        public const string FlagCategory = "http://terminology.hl7.org/CodeSystem/flag-category";

        /// <summary>HL7 priorities of flags, of the extension flag-priority.</summary>
        public const string FlagPriority = "http://hl7.org/fhir/flag-priority-code";

        /// <summary>HL7 parts that somebody can have in what a Provenance tells.</summary>
        public const string ProvenanceParticipant = "http://terminology.hl7.org/CodeSystem/provenance-participant-type";

        /// <summary>HL7 v3 operations on data.</summary>
        public const string DataOperation = "http://terminology.hl7.org/CodeSystem/v3-DataOperation";

        /// <summary>HL7 v3 values of observations; holds the mark of a resource that was not sent whole.</summary>
        public const string ObservationValue = "http://terminology.hl7.org/CodeSystem/v3-ObservationValue";

        /// <summary>HL7 v3 reasons, among them why data are marked.</summary>
        public const string ActReason = "http://terminology.hl7.org/CodeSystem/v3-ActReason";

        /// <summary>HL7 v3 routes of administration.</summary>
        public const string RouteOfAdministration = "http://terminology.hl7.org/CodeSystem/v3-RouteOfAdministration";
    }

    /// <summary>Units at the wire. <c>[drp]</c> is not among them: UCUM fixes it at 1/20 mL, whatever the giving set.</summary>
    public static class Units
    {
        /// <summary>Volume.</summary>
        public static UcumUnit Millilitre { get; } = new("mL", "mL");

        /// <summary>Flow, and urine output over exactly one hour.</summary>
        public static UcumUnit MillilitrePerHour { get; } = new("mL/h", "mL/h");

        /// <summary>Urine output over exactly eight hours.</summary>
        public static UcumUnit MillilitrePer8Hours { get; } = new("mL/(8.h)", "mL/8 h");

        /// <summary>Urine output over exactly twelve hours.</summary>
        public static UcumUnit MillilitrePer12Hours { get; } = new("mL/(12.h)", "mL/12 h");

        /// <summary>Urine output over exactly 24 hours.</summary>
        public static UcumUnit MillilitrePerDay { get; } = new("mL/d", "mL/d");

        /// <summary>Drip rate; a volume only together with the drop factor.</summary>
        public static UcumUnit DropsPerMinute { get; } = new("{drop}/min", "drops/min");

        /// <summary>Drop factor of a giving set.</summary>
        public static UcumUnit DropsPerMillilitre { get; } = new("{drop}/mL", "drops/mL");

        /// <summary>Mass of a container's content.</summary>
        public static UcumUnit Gram { get; } = new("g", "g");

        /// <summary>Duration.</summary>
        public static UcumUnit Hour { get; } = new("h", "h");

        /// <summary>A short time, as from a flag to whoever saw it.</summary>
        public static UcumUnit Minute { get; } = new("min", "min");

        /// <summary>Body weight.</summary>
        public static UcumUnit Kilogram { get; } = new("kg", "kg");

        /// <summary>Urine output per body weight. <c>mL/(kg.h)</c> is the same and not our spelling.</summary>
        public static UcumUnit MillilitrePerKilogramHour { get; } = new("mL/kg/h", "mL/kg/h");

        /// <summary>Part of a window.</summary>
        public static UcumUnit Percent { get; } = new("%", "%");

        /// <summary>Pain, 0 to 10.</summary>
        public static UcumUnit Score { get; } = new("{score}", "score");

        /// <summary>Every unit that a resource of ours can have; the invariant <c>ifh-ucum</c> lists the same.</summary>
        public static IReadOnlyList<UcumUnit> All { get; } =
        [
            Millilitre,
            MillilitrePerHour,
            MillilitrePer8Hours,
            MillilitrePer12Hours,
            MillilitrePerDay,
            MillilitrePerKilogramHour,
            DropsPerMinute,
            DropsPerMillilitre,
            Gram,
            Kilogram,
            Hour,
            Minute,
            Percent,
            Score,
        ];
    }

    /// <summary>
    /// Codes of AuditEvents: those of R4's own value sets, and two that IHE Basic Audit Log Patterns 1.1 defines
    /// (https://profiles.ihe.net/ITI/BALP).
    /// </summary>
    public static class Audit
    {
        /// <summary>DICOM.</summary>
        public const string Dicom = "http://dicom.nema.org/resources/ontology/DCM";

        /// <summary>HL7 interactions of the RESTful API.</summary>
        public const string Interactions = "http://hl7.org/fhir/restful-interaction";

        /// <summary>How ids of tokens are written as a policy (RFC 3553; IHE.BasicAudit.OAUTHaccessTokenUse.Minimal).</summary>
        public const string TokenPolicy = "urn:ietf:params:oauth:jti:";

        private const string Hl7 = "http://terminology.hl7.org/CodeSystem/";
        private const string Ihe = "https://profiles.ihe.net/ITI/BALP/CodeSystem/";

        /// <summary>An operation of the RESTful API.</summary>
        public static Coding Rest => new(Hl7 + "audit-event-type", "rest", "RESTful Operation");

        /// <summary>Something left the service.</summary>
        public static Coding Export => new(Dicom, "110106", "Export");

        /// <summary>Somebody was refused.</summary>
        public static Coding SecurityAlert => new(Dicom, "110113", "Security Alert");

        /// <summary>The service started or stopped.</summary>
        public static Coding ApplicationActivity => new(Dicom, "110100", "Application Activity");

        /// <summary>It started.</summary>
        public static Coding ApplicationStart => new(Dicom, "110120", "Application Start");

        /// <summary>It stopped.</summary>
        public static Coding ApplicationStop => new(Dicom, "110121", "Application Stop");

        /// <summary>Clients or keys became others; of alerts a kind.</summary>
        public static Coding RolesChanged => new(Dicom, "110136", "Security Roles Changed");

        /// <summary>A disclosure.</summary>
        public static Coding Disclosure => new(Hl7 + "iso-21089-lifecycle", "disclose", "Disclose Record Lifecycle Event");

        /// <summary>Where data, or a question, come from.</summary>
        public static CodeableConcept Source => Concept(new Coding(Dicom, "110153", "Source Role ID"));

        /// <summary>Where they go to.</summary>
        public static CodeableConcept Destination => Concept(new Coding(Dicom, "110152", "Destination Role ID"));

        /// <summary>A program.</summary>
        public static CodeableConcept Application => Concept(new Coding(Dicom, "110150", "Application"));

        /// <summary>Whoever holds the access token.</summary>
        public static CodeableConcept TokenHolder => Concept(new Coding(Ihe + "UserAgentTypes", "UserOauthAgent"));

        /// <summary>A server of applications, as what reports an event.</summary>
        public static Coding Server => new(Hl7 + "security-source-type", "4", "Application Server");

        /// <summary>The patient.</summary>
        public static Coding Person => new(Hl7 + "audit-entity-type", "1", "Person");

        /// <summary>What is read, asked or written.</summary>
        public static Coding SystemObject => new(Hl7 + "audit-entity-type", "2", "System Object");

        /// <summary>A further resource that was written, by its type.</summary>
        public static Coding OfType(string type) => new("http://hl7.org/fhir/resource-types", type, type);

        /// <summary>The request, by its id.</summary>
        public static Coding Transaction => new(Ihe + "BasicAuditEntityType", "XrequestId");

        /// <summary>In the part of the patient.</summary>
        public static Coding AsPatient => new(Hl7 + "object-role", "1", "Patient");

        /// <summary>In the part of a report.</summary>
        public static Coding AsReport => new(Hl7 + "object-role", "3", "Report");

        /// <summary>In the part of a resource.</summary>
        public static Coding AsResource => new(Hl7 + "object-role", "4", "Domain Resource");

        /// <summary>In the part of a job.</summary>
        public static Coding AsJob => new(Hl7 + "object-role", "20", "Job");

        /// <summary>In the part of a query.</summary>
        public static Coding AsQuery => new(Hl7 + "object-role", "24", "Query");

        /// <summary>An interaction.</summary>
        public static Coding Interaction(string code) => new(Interactions, code, code);
    }

    private static readonly string[] LocalSystems =
    [
        "irrigation-observation",
        "irrigation-kind",
        "output-window",
        "calculation-method",
        "measuring-way",
        "urine-route",
        "balance-term",
        "caveat",
        "entry-kind",
        "urine-output-criterion",
        "criterion-answer",
        "criterion-reading",
        "criterion-obstacle",
        "weight-kind",
        "clot-burden",
        "drainage-clarity",
        "tolerance",
        "irrigation-flag",
        "flag-category",
        "handover-section",
        "run-outcome",
    ];

    private static readonly Lazy<FrozenDictionary<(string System, string Slug), string>> Local = new(() =>
        LocalSystems
            .SelectMany(system =>
                Definitions.CodeSystem(system, Profiles.DefaultCanonicalBase).Concept.Select(concept => (system, concept))
            )
            .ToFrozenDictionary(at => (at.system, at.concept.Code!), at => at.concept.Display!)
    );

    /// <summary>
    /// Codes whose LOINC component and timing were seen, and whose full name follows from the order of their block only.
    /// To be checked in the LOINC browser before a clinical release.
    /// </summary>
    public static IReadOnlyList<Coding> PartlyVerified =>
        [IrrigantIntakeMeasured, IrrigantIntakeEstimated, UrineOutput1Hour, UrineOutput8Hours, UrineOutput12Hours];

    // VERIFIED(part): which code of the block says "Measured" follows from the block's order.
    private static Coding IrrigantIntakeMeasured => new(Systems.Loinc, "9026-6", "Fluid intake urinary bladder irrigation Measured");

    // VERIFIED(part): as above for "Estimated".
    private static Coding IrrigantIntakeEstimated => new(Systems.Loinc, "9025-8", "Fluid intake urinary bladder irrigation Estimated");

    /// <summary>Callers are known by SMART App Launch.</summary>
    public static Coding SmartOnFhir => new(Systems.SecurityService, "SMART-on-FHIR", "SMART-on-FHIR");

    /// <summary>Urine output, the series that may be added up.</summary>
    public static Coding UrineOutput => new(Systems.Loinc, "9187-6", "Urine output");

    // VERIFIED(timing; long name by pattern)
    private static Coding UrineOutput1Hour => new(Systems.Loinc, "9188-4", "Urine output 1 hour");

    // VERIFIED(timing; long name by pattern)
    private static Coding UrineOutput8Hours => new(Systems.Loinc, "9189-2", "Urine output 8 hour");

    // VERIFIED(timing; long name by pattern)
    private static Coding UrineOutput12Hours => new(Systems.Loinc, "9191-8", "Urine output 12 hour");

    private static Coding UrineOutput24Hours => new(Systems.Loinc, "9192-6", "Urine output 24 hour");

    private static Coding UrineByNephrostomy => new(Systems.Loinc, "79549-2", "Urine output measured by nephrostomy");

    private static Coding UrineByStraightCatheter => new(Systems.Loinc, "9195-9", "Urine output by in and out urethral catheter");

    private static Coding BladderVolumeByUltrasound =>
        new(Systems.Loinc, "15309-8", "Urinary bladder Volume by derived from height, width and length (US)");

    private static Coding UrineOutputObservable => new(Systems.Snomed, "364201005", "Urine output (observable entity)");

    private static Coding DrainOutput => new(Systems.Snomed, "251843005", "Fluid output from drain (observable entity)");

    private static Coding FluidBalance => new(Systems.Snomed, "364396009", "Fluid balance observable");

    private static Coding IrrigationOfBladder => new(Systems.Snomed, "78533007", "Irrigation of urinary bladder (procedure)");

    // The code was seen with this name in a national guide; its MDC reference id was not.
    private static Coding DrainageVolumeInBag => new(Systems.Mdc, "157740", "Drainage volume in bag");

    private static Coding PumpFlow => new(Systems.Mdc, "157784", "MDC_FLOW_FLUID_PUMP");

    private static Coding ColourOfUrine => new(Systems.Loinc, "5778-6", "Color of Urine");

    private static Coding ClarityOfUrine => new(Systems.Loinc, "32167-9", "Clarity of Urine");

    private static Coding PainSeverity => new(Systems.Loinc, "72514-3", "Pain severity - 0-10 verbal numeric rating [Score] - Reported");

    private static Coding Weight => new(Systems.Loinc, "29463-7", "Body weight");

    private static Coding WeightMeasured => new(Systems.Loinc, "3141-9", "Body weight Measured");

    private static Coding IdealWeight => new(Systems.Loinc, "50064-5", "Ideal body weight");

    private static Coding BloodClot => new(Systems.Snomed, "75753009", "Blood clot (morphologic abnormality)");

    private static Coding VitalSigns => new(Systems.ObservationCategory, "vital-signs", "Vital Signs");

    private static Coding Exam => new(Systems.ObservationCategory, "exam", "Exam");

    /// <summary>Irrigant that ran into the bladder.</summary>
    /// <param name="estimated">Whether the amount was judged, not measured.</param>
    public CodeableConcept IrrigantInstilled(bool estimated) =>
        Named(estimated ? IrrigantIntakeEstimated : IrrigantIntakeMeasured, Observed("irrigant-instilled"));

    /// <summary>Flow set as a volume per hour.</summary>
    /// <param name="pumpDriven">Whether a pump drives it; adds the device coding.</param>
    public CodeableConcept IrrigantFlowRate(bool pumpDriven) =>
        pumpDriven ? Named(Observed("irrigant-flow-rate"), PumpFlow) : Concept(Observed("irrigant-flow-rate"));

    /// <summary>Flow set as drops per minute; needs the component <c>drop-factor</c>.</summary>
    public CodeableConcept IrrigantDripRate() => Concept(Observed("irrigant-drip-rate"));

    /// <summary>Mixed drainage. Carries no urine-output code, or whoever sums urine counts the irrigant with it.</summary>
    public CodeableConcept BladderDrainage() => Named(Observed("bladder-drainage-total"), DrainOutput, DrainageVolumeInBag);

    /// <summary>Urine collected by another route than the irrigated catheter.</summary>
    /// <param name="routeSlug">Code of <c>urine-route</c>; nephrostomy and in-and-out catheter have LOINC codes of their own.</param>
    /// <remarks>Never the generic LOINC code: it stands on the closed interval that such urine is counted in.</remarks>
    public CodeableConcept UrineCollected(string routeSlug) =>
        routeSlug switch
        {
            "left-nephrostomy" or "right-nephrostomy" => Named(UrineByNephrostomy, Observed("urine-collected")),
            "straight-catheter" => Named(UrineByStraightCatheter, Observed("urine-collected")),
            _ => Concept(Observed("urine-collected")),
        };

    /// <summary>Fluid lost beside the catheter or spilt. No standard code was found.</summary>
    public CodeableConcept LeakEstimated() => Concept(Observed("leak-estimated"));

    /// <summary>Fluid in the bladder by ultrasound.</summary>
    public CodeableConcept BladderScanVolume() => Named(BladderVolumeByUltrasound, Observed("bladder-scan-volume"));

    /// <summary>Corrected urine output of a closed interval: the series that may be added up, so the one with LOINC 9187-6.</summary>
    public CodeableConcept CorrectedUrineOutput() => Named(UrineOutput, UrineOutputObservable, Observed("urine-output-corrected"));

    /// <summary>Corrected urine output of a clock hour, shift or local day: a share of closed intervals.</summary>
    /// <param name="windowSlug">Code of <c>output-window</c>, not that of the closed interval.</param>
    /// <param name="exactHours">
    /// 1, 8, 12 or 24 when the window is complete and exactly that long: adds the LOINC code of that length. Null for any other.
    /// </param>
    /// <exception cref="ArgumentOutOfRangeException">Another window, or another number of hours: it has no timed code.</exception>
    public CodeableConcept CorrectedUrineOutput(string windowSlug, int? exactHours)
    {
        var local = windowSlug switch
        {
            "clock-hour" => Observed("urine-output-hour"),
            "shift" => Observed("urine-output-shift"),
            "local-day" => Observed("urine-output-day"),
            _ => throw new ArgumentOutOfRangeException(nameof(windowSlug), windowSlug, "not a window of the calendar"),
        };
        return exactHours switch
        {
            null => Concept(local),
            1 => Named(UrineOutput1Hour, local),
            8 => Named(UrineOutput8Hours, local),
            12 => Named(UrineOutput12Hours, local),
            24 => Named(UrineOutput24Hours, local),
            _ => throw new ArgumentOutOfRangeException(nameof(exactHours), exactHours, "a timed urine output has 1, 8, 12 or 24 hours"),
        };
    }

    /// <summary>
    /// Unit of the corrected urine output that goes with <see cref="CorrectedUrineOutput(string, int?)"/>: the timed LOINC codes are rates.
    /// </summary>
    /// <param name="exactHours">As given there.</param>
    /// <exception cref="ArgumentOutOfRangeException">Another number of hours.</exception>
    public static UcumUnit CorrectedUrineOutputUnit(int? exactHours) =>
        exactHours switch
        {
            null => Units.Millilitre,
            1 => Units.MillilitrePerHour,
            8 => Units.MillilitrePer8Hours,
            12 => Units.MillilitrePer12Hours,
            24 => Units.MillilitrePerDay,
            _ => throw new ArgumentOutOfRangeException(nameof(exactHours), exactHours, "a timed urine output has 1, 8, 12 or 24 hours"),
        };

    /// <summary>The three categories of a corrected urine output: exam, fluid balance, and its window.</summary>
    /// <param name="windowSlug">Code of <c>output-window</c>.</param>
    public List<CodeableConcept> OutputCategories(string windowSlug) => [.. FluidCategories(), Briefly(OutputWindow(windowSlug))];

    /// <summary>The window that a corrected urine output is of: a code of <c>output-window</c>.</summary>
    /// <param name="categories">Its categories.</param>
    public string WindowOf(IEnumerable<CodeableConcept> categories) =>
        categories.SelectMany(category => category.Coding).First(coding => coding.System == profiles.CodeSystem("output-window")).Code!;

    /// <summary>The categories of what was measured at the bedside: exam and fluid balance.</summary>
    /// <remarks>As codes alone: they sort, and nobody reads them.</remarks>
    public static List<CodeableConcept> FluidCategories() =>
        [Concept(new Coding(Exam.System, Exam.Code)), Concept(new Coding(FluidBalance.System, FluidBalance.Code))];

    /// <summary>The category of what was seen, felt or judged at the bedside.</summary>
    public static List<CodeableConcept> ExamCategory() => [Concept(Exam)];

    /// <summary>The category of a weight: a vital sign, where it has the code of one.</summary>
    /// <param name="kindSlug">Code of <c>weight-kind</c>.</param>
    public static List<CodeableConcept> WeightCategory(string kindSlug) => [Concept(IsVitalSign(kindSlug) ? VitalSigns : Exam)];

    /// <summary>Whether a weight is a vital sign of R4: an ideal or a dosing weight is worked out, not found.</summary>
    /// <param name="kindSlug">Code of <c>weight-kind</c>.</param>
    public static bool IsVitalSign(string kindSlug) => kindSlug is "actual" or "stated" or "estimated";

    /// <summary>A body weight of a kind.</summary>
    /// <param name="kindSlug">Code of <c>weight-kind</c>.</param>
    public CodeableConcept BodyWeight(string kindSlug) =>
        kindSlug switch
        {
            "actual" => Concept(Weight, WeightMeasured, Observed("body-weight")),
            "stated" or "estimated" => Concept(Weight, Observed("body-weight")),
            "ideal" => Concept(IdealWeight, Observed("body-weight")),
            "dosing" => Concept(Observed("body-weight")),
            _ => throw new ArgumentOutOfRangeException(nameof(kindSlug), kindSlug, "not a kind of weight"),
        };

    /// <summary>Whose weight a figure is.</summary>
    /// <param name="slug">Code of <c>weight-kind</c>.</param>
    public CodeableConcept WeightKind(string slug) => Concept(Own("weight-kind", slug));

    /// <summary>Colour of the drainage, as a component.</summary>
    public CodeableConcept DrainageColour() => Concept(Observed("drainage-colour"), ColourOfUrine);

    /// <summary>Clarity of the drainage, as a component.</summary>
    public CodeableConcept DrainageClarity() => Concept(Observed("drainage-clarity"), ClarityOfUrine);

    /// <summary>Pain from 0 to 10, as a component.</summary>
    public static CodeableConcept Pain() => Concept(PainSeverity);

    /// <summary>A colour as a person called it; with the SNOMED CT coding of that very word, where there is one.</summary>
    /// <param name="word">As charted.</param>
    public static CodeableConcept Colour(string word)
    {
        Coding? coding = word.Trim().ToLowerInvariant() switch
        {
            "clear" => new(Systems.Snomed, "167236000", "Urine looks clear (finding)"),
            "yellow" => new(Systems.Snomed, "371244009", "Yellow color (qualifier value)"),
            "dark yellow" or "amber" => new(Systems.Snomed, "720001001", "Dark yellow urine"),
            "pale" or "straw" => new(Systems.Snomed, "162135003", "Pale Urine"),
            "pink" or "light pink" or "light red" => new(Systems.Snomed, "720003003", "Reddish color urine"),
            "red" or "dark red" or "bright red" => new(Systems.Snomed, "167235001", "Urine: red - blood"),
            "brown" or "tea" => new(Systems.Snomed, "371254008", "Brown color (qualifier value)"),
            _ => null,
        };
        return new() { Coding = coding is null ? [] : [coding], Text = word };
    }

    /// <summary>A clarity, in SNOMED CT and in our words.</summary>
    /// <param name="slug">Code of <c>drainage-clarity</c>.</param>
    public CodeableConcept Clarity(string slug) =>
        Concept(
            slug switch
            {
                "clear" => new Coding(Systems.Snomed, "167236000", "Urine looks clear (finding)"),
                "slightly-cloudy" => new Coding(Systems.Snomed, "1290141002", "Slightly cloudy urine (finding)"),
                "cloudy" => new Coding(Systems.Snomed, "7766007", "Cloudy urine (finding)"),
                "turbid" => new Coding(Systems.Snomed, "167238004", "Turbid urine (finding)"),
                _ => throw new ArgumentOutOfRangeException(nameof(slug), slug, "not a clarity"),
            },
            Own("drainage-clarity", slug)
        );

    /// <summary>How many clots; where there are any, with the SNOMED CT coding of a clot.</summary>
    /// <param name="slug">Code of <c>clot-burden</c>.</param>
    public CodeableConcept Clots(string slug) =>
        slug == "none" ? Concept(Own("clot-burden", slug)) : Concept(BloodClot, Own("clot-burden", slug));

    /// <summary>How the patient bore it.</summary>
    /// <param name="slug">Code of <c>tolerance</c>.</param>
    public CodeableConcept Tolerance(string slug) => Concept(Own("tolerance", slug));

    /// <summary>A criterion of urine output.</summary>
    /// <param name="slug">Code of <c>urine-output-criterion</c>.</param>
    public CodeableConcept UrineOutputCriterion(string slug) =>
        Concept(Observed("urine-output-criterion"), Own("urine-output-criterion", slug));

    /// <summary>One of the four answers of a criterion.</summary>
    /// <param name="slug">Code of <c>criterion-answer</c>.</param>
    public CodeableConcept CriterionAnswer(string slug) => Concept(Own("criterion-answer", slug));

    /// <summary>By which of the customary readings a criterion was judged.</summary>
    /// <param name="slug">Code of <c>criterion-reading</c>.</param>
    public CodeableConcept CriterionReading(string slug) => Concept(Own("criterion-reading", slug));

    /// <summary>Why a criterion cannot be evaluated.</summary>
    /// <param name="slug">Code of <c>criterion-obstacle</c>.</param>
    public CodeableConcept CriterionObstacle(string slug) => Concept(Own("criterion-obstacle", slug));

    /// <summary>A pattern that asks a person to look at the patient, in our words first.</summary>
    /// <param name="slug">Code of <c>irrigation-flag</c>.</param>
    /// <param name="title">What the flag is called; what was seen is not said here.</param>
    /// <remarks>
    /// A finding of SNOMED CT beside it only where the flag rests on a measured state or on what was seen: a suspicion is not sent as a
    /// disorder.
    /// </remarks>
    public CodeableConcept Flag(string slug, string title)
    {
        Coding[] findings = slug switch
        {
            "oliguria" => [new(Systems.Snomed, "83128009", "Oliguria (finding)")],
            "anuria" => [new(Systems.Snomed, "2472002", "Anuria (finding)")],
            "polyuria" or "post-obstructive-diuresis" => [new(Systems.Snomed, "28442001", "Polyuria (finding)")],
            "clots-present" => [new(Systems.Snomed, "34436003", "Blood in urine (finding)"), BloodClot],
            _ => [],
        };
        var concept = Concept([Own("irrigation-flag", slug), .. findings]);
        concept.Text = title;
        return concept;
    }

    /// <summary>An irrigant as it was called, with the code of what it is a solution of; the strength stands in the words alone.</summary>
    /// <param name="words">As charted. Of a mixture there is no coding: two would read as two names of one thing.</param>
    public static CodeableConcept Irrigant(string words)
    {
        Coding[] named =
        [
            .. IrrigantWords
                .Where(known => Irrigation.Flags.Irrigants.Named(words, known.Words))
                .Select(known => new Coding(known.System, known.Code, known.Display)),
        ];
        var mixed = named.Length > 1 || Irrigation.Flags.Irrigants.Named(words, " with ", " and ", "+", " in ");
        return new() { Coding = mixed ? [] : [.. named], Text = words };
    }

    private static readonly (string[] Words, string System, string Code, string Display)[] IrrigantWords =
    [
        (["saline", "sodium chloride", "nacl"], Systems.Snomed, "373757009", "Sodium chloride solution (substance)"),
        (["water"], Systems.Snomed, "11713004", "Water (substance)"),
        (["acetic acid"], Systems.Snomed, "2869004", "Acetic acid (substance)"),
        (["glycine"], Systems.Atc, "B05CX03", "glycine"),
        (["mannitol"], Systems.Atc, "B05CX04", "mannitol"),
    ];

    /// <summary>What came of a run of cycles.</summary>
    /// <param name="slug">Code of <c>run-outcome</c>; null where nobody said.</param>
    /// <param name="text">What it rests on.</param>
    public CodeableConcept RunOutcome(string? slug, string text)
    {
        var concept = slug is null ? new() : Concept(Own("run-outcome", slug));
        concept.Text = text;
        return concept;
    }

    /// <summary>Spasm of the bladder, as it was noted.</summary>
    public static CodeableConcept BladderSpasm() => Concept(new Coding(Systems.Snomed, "249297006", "Spasm of bladder (finding)"));

    /// <summary>What kind of document a handover is: a note by nurses, and which one in our words.</summary>
    /// <remarks>
    /// LOINC has no handover between shifts. Code and display as the value set of its document ontology has them
    /// (http://terminology.hl7.org/ValueSet/v3-LoincDocumentOntologyInternational).
    /// </remarks>
    public CodeableConcept HandoverDocument() =>
        Concept(new Coding(Systems.Loinc, "34746-8", "Nurse Note"), Own("handover-section", "handover"));

    /// <summary>A handover, or a section of it.</summary>
    /// <param name="slug">Code of <c>handover-section</c>.</param>
    public CodeableConcept Handover(string slug) => Concept(Own("handover-section", slug));

    /// <summary>What a flag is about.</summary>
    /// <param name="slug"><c>clinical</c>, <c>safety</c>, or the one that HL7 lacks, <c>data-quality</c>.</param>
    /// <exception cref="ArgumentOutOfRangeException">Another category.</exception>
    public CodeableConcept FlagCategory(string slug) =>
        Concept(
            slug switch
            {
                "clinical" => new Coding(Systems.FlagCategory, slug, "Clinical"),
                "safety" => new Coding(Systems.FlagCategory, slug, "Safety"),
                _ => Own("flag-category", slug),
            }
        );

    /// <summary>How soon somebody should look. R4 has nothing above high; the text says that it is urgent.</summary>
    /// <param name="slug"><c>low</c>, <c>medium</c>, <c>high</c> or <c>urgent</c>.</param>
    public static CodeableConcept FlagPriority(string slug) =>
        Concept(
            slug switch
            {
                "low" => new Coding(Systems.FlagPriority, "PL", "Low priority"),
                "medium" => new Coding(Systems.FlagPriority, "PM", "Medium priority"),
                _ => new Coding(Systems.FlagPriority, "PH", "High priority"),
            }
        );

    /// <summary>Which stretch of time an output stands for.</summary>
    /// <param name="slug">Code of <c>output-window</c>.</param>
    public CodeableConcept OutputWindow(string slug) => Concept(Own("output-window", slug));

    /// <summary>By which convention a urine output was computed.</summary>
    public CodeableConcept DrainageMinusIrrigant() => Concept(Own("calculation-method", "drainage-minus-irrigant"));

    /// <summary>How a volume, mass or rate became known.</summary>
    /// <param name="slug">Code of <c>measuring-way</c>.</param>
    public CodeableConcept MeasuringWay(string slug) => Concept(Own("measuring-way", slug));

    /// <summary>By which route urine was collected.</summary>
    /// <param name="slug">Code of <c>urine-route</c>.</param>
    public CodeableConcept UrineRoute(string slug) => Concept(Own("urine-route", slug));

    /// <summary>A term of the mass balance.</summary>
    /// <param name="slug">Code of <c>balance-term</c>.</param>
    public CodeableConcept BalanceTerm(string slug) => Concept(Own("balance-term", slug));

    /// <summary>What a reader must know before relying on a result.</summary>
    /// <param name="slug">Code of <c>caveat</c>.</param>
    /// <param name="text">The particulars, as shown to people; null where the code says it all.</param>
    public CodeableConcept Caveat(string slug, string? text)
    {
        var caveat = Concept(Own("caveat", slug));
        caveat.Text = text;
        return caveat;
    }

    /// <summary>Code of an Observation of ours that has no code in a published vocabulary.</summary>
    /// <param name="slug">Code of <c>irrigation-observation</c>.</param>
    public CodeableConcept Observation(string slug) => Concept(Observed(slug));

    /// <summary>Code of a component: without its display, which the code system has and every Observation would repeat.</summary>
    /// <param name="slug">Code of <c>irrigation-observation</c>.</param>
    public CodeableConcept Component(string slug) => Briefly(Concept(Observed(slug)));

    /// <summary>A value of a component in codes of our own systems: without displays, as its code.</summary>
    /// <param name="value">The value.</param>
    public CodeableConcept Briefly(CodeableConcept value)
    {
        foreach (var own in value.Coding.Where(c => c.System!.StartsWith(profiles.CanonicalBase, StringComparison.Ordinal)))
            own.Display = null;
        return value;
    }

    /// <summary>What an entry says happened.</summary>
    /// <param name="slug">Code of <c>entry-kind</c>.</param>
    public CodeableConcept EntryKind(string slug) => Concept(Own("entry-kind", slug));

    /// <summary>The label of data that are about no patient: tests, demonstrations, calibrations.</summary>
    public static Coding TestData() => new(Systems.ActReason, "HTEST", "test health data");

    /// <summary>Whether a label in <c>meta.security</c> marks test data.</summary>
    public static bool IsTestData(string? system, string? code) => (system, code) is (Systems.ActReason, "HTEST");

    /// <summary>
    /// A sender's codings that can stand beside ours. Mixed drainage, urine and estimates have codes that must not stand there
    /// (a urine code on drainage counts the irrigant as urine); what is left out is kept with the entry.
    /// </summary>
    public IEnumerable<Coding> Besides(CodeableConcept ours, CodeableConcept sent)
    {
        string[] spoken = ours.Coding.Exists(c => c.Code is "bladder-drainage-total" or "urine-collected")
            ? [Systems.Loinc, Systems.Snomed, Systems.Mdc]
            : [];
        string[] held = [IrrigantIntakeMeasured.Code!, IrrigantIntakeEstimated.Code!];
        return sent.Coding.Where(c =>
            !ours.Coding.Exists(own => own.System == c.System && own.Code == c.Code)
            && !spoken.Contains(c.System)
            && !held.Contains(c.Code)
            && c.System?.StartsWith(profiles.CanonicalBase, StringComparison.Ordinal) is not true
        );
    }

    /// <summary>An irrigation, its kind, and the HL7 v3 route that says the kind in a standard vocabulary.</summary>
    /// <param name="kindSlug">Code of <c>irrigation-kind</c>; null where it is not known yet.</param>
    public CodeableConcept IrrigationProcedure(string? kindSlug) =>
        Concept([
            IrrigationOfBladder,
            .. kindSlug is null ? Array.Empty<Coding>() : [Own("irrigation-kind", kindSlug)],
            kindSlug switch
            {
                "continuous" => new Coding(Systems.RouteOfAdministration, "BLADIRRC", "Irrigation, urinary bladder, continuous"),
                "tidal" => new Coding(Systems.RouteOfAdministration, "BLADIRRT", "Irrigation, urinary bladder, tidal"),
                "instillation-dwell" => new Coding(Systems.RouteOfAdministration, "BLADINSTL", "Instillation, urinary catheter"),
                _ => new Coding(Systems.RouteOfAdministration, "BLADIRR", "Irrigation, urinary bladder"),
            },
        ]);

    /// <summary>The bladder as a body site.</summary>
    public static CodeableConcept Bladder() =>
        Concept(new Coding(Systems.Snomed, "89837001", "Urinary bladder structure (body structure)"));

    /// <summary>Why a value is missing.</summary>
    /// <param name="slug">
    /// <c>temp-unknown</c> (not yet), <c>not-performed</c> (nobody measured), <c>error</c> (input contradicts itself) or <c>unknown</c>.
    /// </param>
    /// <exception cref="ArgumentOutOfRangeException">Another reason.</exception>
    public static CodeableConcept DataAbsent(string slug) =>
        Concept(
            new Coding(
                Systems.DataAbsentReason,
                slug,
                slug switch
                {
                    "temp-unknown" => "Temporarily Unknown",
                    "not-performed" => "Not Performed",
                    "error" => "Error",
                    "unknown" => "Unknown",
                    _ => throw new ArgumentOutOfRangeException(nameof(slug), slug, "not a reason we give for a missing value"),
                }
            )
        );

    /// <summary>What a Provenance says happened: an entry or a result was corrected.</summary>
    public static CodeableConcept Revised() => Concept(new Coding(Systems.DataOperation, "UPDATE", "revise"));

    /// <summary>What a Provenance says happened: an entry or a result was struck out.</summary>
    public static CodeableConcept Nullified() => Concept(new Coding(Systems.DataOperation, "NULLIFY", "nullify"));

    /// <summary>Which part somebody had in what a Provenance tells.</summary>
    /// <param name="slug"><c>author</c> (said it), <c>enterer</c> (brought it in) or <c>assembler</c> (worked it out).</param>
    public static CodeableConcept Agent(string slug) =>
        Concept(new Coding(Systems.ProvenanceParticipant, slug, char.ToUpperInvariant(slug[0]) + slug[1..]));

    /// <summary>The tag of a resource of which only a part was sent.</summary>
    public static Coding Subsetted() => new(Systems.ObservationValue, "SUBSETTED", "subsetted");

    /// <summary>A quantity with its UCUM code.</summary>
    /// <param name="value">In <paramref name="unit"/>.</param>
    /// <param name="unit">One of <see cref="Units"/>.</param>
    public static Quantity Quantity(decimal value, UcumUnit unit) =>
        new()
        {
            Value = value,
            Unit = unit.Text,
            System = Systems.Ucum,
            Code = unit.Code,
        };

    /// <summary>
    /// The standard uncertainty of a quantity in its unit (core extension of R4). That it is normally distributed is said once, by the
    /// profile.
    /// </summary>
    /// <param name="standardUncertainty">0 or more.</param>
    public static Extension Uncertainty(decimal standardUncertainty) =>
        new("http://hl7.org/fhir/StructureDefinition/iso21090-uncertainty", new FhirDecimal(standardUncertainty));

    /// <summary>What a code of ours is called.</summary>
    /// <param name="system">Id of the code system.</param>
    /// <param name="slug">The code.</param>
    /// <exception cref="ArgumentOutOfRangeException">Not a code of it.</exception>
    public static string Display(string system, string slug) =>
        Local.Value.TryGetValue((system, slug), out var display)
            ? display
            : throw new ArgumentOutOfRangeException(nameof(slug), slug, $"not a code of {system}");

    private Coding Observed(string slug) => Own("irrigation-observation", slug);

    private Coding Own(string system, string slug) => new(profiles.CodeSystem(system), slug, Display(system, slug));

    /// <summary>The code of an Observation: said in words once, by its first coding; the others are what it is found by.</summary>
    private static CodeableConcept Named(Coding first, params Coding[] others)
    {
        foreach (var other in others)
            other.Display = null;
        return Concept([first, .. others]);
    }

    private static CodeableConcept Concept(params Coding[] codings) => new() { Coding = [.. codings] };
}
