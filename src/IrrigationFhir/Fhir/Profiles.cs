namespace IrrigationFhir.Fhir;

/// <summary>
/// The canonical URL of every profile, below one base. A URL of ours outside this file and <see cref="Codes"/> is a bug.
/// </summary>
/// <param name="canonicalBase">An absolute http or https URL; a slash at its end is dropped.</param>
/// <exception cref="ArgumentException">Not an absolute http or https URL without query and fragment.</exception>
internal sealed class Profiles(string canonicalBase)
{
    /// <summary>The base the profiles are written with; <c>Fhir:CanonicalBase</c> replaces it.</summary>
    public const string DefaultCanonicalBase = "https://irrigationfhir.example/fhir";

    /// <summary>Version of everything that defines what the service says; the profiles' sources name the same.</summary>
    public const string Version = "1.0.0";

    /// <summary>When this version was published.</summary>
    public const string PublishedOn = "2026-11-25";

    /// <summary>The base of every URL of ours, without a slash at its end.</summary>
    public string CanonicalBase { get; } = Checked(canonicalBase);

    /// <summary>Irrigation fluid that ran into the bladder.</summary>
    public string IrrigantInstilled => Canonical("irrigant-instilled");

    /// <summary>The flow the irrigation was set to.</summary>
    public string IrrigantFlowRate => Canonical("irrigant-flow-rate");

    /// <summary>Everything that left the bladder: irrigant, urine and blood together.</summary>
    public string BladderDrainage => Canonical("bladder-drainage");

    /// <summary>Urine that did not pass the irrigated catheter's drainage.</summary>
    public string UrineCollected => Canonical("urine-collected");

    /// <summary>Fluid lost beside the catheter or spilt.</summary>
    public string LeakEstimated => Canonical("leak-estimated");

    /// <summary>Fluid in the bladder, seen by ultrasound.</summary>
    public string BladderScanVolume => Canonical("bladder-scan-volume");

    /// <summary>Urine made by the kidneys over an interval.</summary>
    public string CorrectedUrineOutput => Canonical("corrected-urine-output");

    /// <summary>What the drainage looked like.</summary>
    public string DrainageAppearance => Canonical("drainage-appearance");

    /// <summary>The bladder felt over the pubic bone.</summary>
    public string BladderPalpation => Canonical("bladder-palpation");

    /// <summary>How the patient bore it.</summary>
    public string Tolerance => Canonical("tolerance");

    /// <summary>The weight that rates per kilogram rest on.</summary>
    public string BodyWeight => Canonical("body-weight");

    /// <summary>R4's own profile of a body weight, which a weight that is a vital sign keeps as well.</summary>
    public const string CoreBodyWeight = "http://hl7.org/fhir/StructureDefinition/bodyweight";

    /// <summary>What the bladder held when the balance closed.</summary>
    public string RetainedVolume => Canonical("retained-volume");

    /// <summary>Corrected urine output of a closed interval as a rate.</summary>
    public string UrineOutputRate => Canonical("urine-output-rate");

    /// <summary>Whether a criterion of urine output was met over a trailing window.</summary>
    public string UrineOutputCriterion => Canonical("urine-output-criterion");

    /// <summary>What the next shift has to know (Composition).</summary>
    public string Handover => Canonical("handover");

    /// <summary>What was seen, in words and numbers (extension of Flag).</summary>
    public string FlagStatement => Canonical("flag-statement");

    /// <summary>When a person first saw a flag (extension of Flag).</summary>
    public string FlagAcknowledged => Canonical("flag-acknowledged");

    /// <summary>How long after its start a person first saw a flag (extension of Flag).</summary>
    public string FlagTimeToAcknowledge => Canonical("flag-time-to-acknowledge");

    /// <summary>How soon somebody should look (core extension of Flag).</summary>
    public const string CoreFlagPriority = "http://hl7.org/fhir/StructureDefinition/flag-priority";

    /// <summary>What a flag rests on (core extension of Flag).</summary>
    public const string CoreFlagDetail = "http://hl7.org/fhir/StructureDefinition/flag-detail";

    /// <summary>Canonical URL of a profile of IHE Basic Audit Log Patterns, version 1.1 (https://profiles.ihe.net/ITI/BALP).</summary>
    /// <param name="name">Behind <c>IHE.BasicAudit.</c>: <c>PatientRead</c>.</param>
    public static string BasicAudit(string name) => $"https://profiles.ihe.net/ITI/BALP/StructureDefinition/IHE.BasicAudit.{name}";

    /// <summary>
    /// Canonical URLs of the Subscriptions R5 Backport guide, version 1.1.0 (http://hl7.org/fhir/uv/subscriptions-backport).
    /// </summary>
    public static class Backport
    {
        /// <summary>A Subscription to a topic.</summary>
        public const string Subscription = Structures + "backport-subscription";

        /// <summary>A Bundle that notifies, in R4.</summary>
        public const string Notification = Structures + "backport-subscription-notification-r4";

        /// <summary>The Parameters that say how a Subscription stands, in R4.</summary>
        public const string Status = Structures + "backport-subscription-status-r4";

        /// <summary>Which events of the topic are wanted (extension of Subscription.criteria).</summary>
        public const string FilterCriteria = Structures + "backport-filter-criteria";

        /// <summary>How much of a resource is sent (extension of Subscription.channel.payload).</summary>
        public const string PayloadContent = Structures + "backport-payload-content";

        /// <summary>Seconds of silence after which a heartbeat is sent (extension of Subscription.channel).</summary>
        public const string HeartbeatPeriod = Structures + "backport-heartbeat-period";

        /// <summary>Seconds after which an attempt to notify has failed (extension of Subscription.channel).</summary>
        public const string Timeout = Structures + "backport-timeout";

        /// <summary>Most events in one notification (extension of Subscription.channel).</summary>
        public const string MaxCount = Structures + "backport-max-count";

        /// <summary>A channel that R4 does not know (extension of Subscription.channel.type).</summary>
        public const string ChannelType = Structures + "backport-channel-type";

        /// <summary>A topic that can be subscribed to (extension of CapabilityStatement.rest.resource).</summary>
        public const string CapabilityTopic = Structures + "capabilitystatement-subscriptiontopic-canonical";

        /// <summary>The operation $status.</summary>
        public const string StatusOperation = Guide + "OperationDefinition/backport-subscription-status";

        /// <summary>The operation $events.</summary>
        public const string EventsOperation = Guide + "OperationDefinition/backport-subscription-events";

        private const string Guide = "http://hl7.org/fhir/uv/subscriptions-backport/";
        private const string Structures = Guide + "StructureDefinition/";
    }

    /// <summary>The canonical URL of a topic that can be subscribed to.</summary>
    /// <param name="slug">Its id.</param>
    public string SubscriptionTopic(string slug) => $"{CanonicalBase}/SubscriptionTopic/{slug}";

    /// <summary>A pattern that asks a person to look at the patient (Flag).</summary>
    public string IrrigationFlag => Canonical("irrigation-flag");

    /// <summary>One irrigation: a continuous run, or one intermittent or open irrigation.</summary>
    public string BladderIrrigation => Canonical("bladder-irrigation");

    /// <summary>What ran in and came out, what it looked like and how it was borne (extension of Procedure).</summary>
    public string IrrigationAccount => Canonical("irrigation-account");

    /// <summary>The irrigation that a resource belongs to (extension of what has no partOf).</summary>
    public string PartOfIrrigation => Canonical("part-of-irrigation");

    /// <summary>One cycle of an intermittent or open irrigation (extension of Procedure).</summary>
    public string IrrigationCycle => Canonical("irrigation-cycle");

    /// <summary>Who corrected or struck out what, when and why (Provenance).</summary>
    public string Correction => Canonical("correction");

    /// <summary>Whether a URL can be a canonical base: absolute, http or https, without query and fragment.</summary>
    public static bool IsCanonicalBase(string url) =>
        Uri.IsWellFormedUriString(url, UriKind.Absolute) && new Uri(url) is { Scheme: "http" or "https", Query: "", Fragment: "" };

    /// <summary>The canonical URL of a profile.</summary>
    /// <param name="slug">Id of the profile, which is also the name of its files.</param>
    public string Canonical(string slug) => $"{CanonicalBase}/StructureDefinition/{slug}";

    /// <summary>The guide that lists everything of ours.</summary>
    public string Guide => $"{CanonicalBase}/ImplementationGuide/irrigationfhir.profiles";

    /// <summary>What a service has to be able to do that follows the guide.</summary>
    public string RequiredCapabilities => $"{CanonicalBase}/CapabilityStatement/service";

    /// <summary>The URL of a code system of ours.</summary>
    /// <param name="slug">Id of the code system.</param>
    public string CodeSystem(string slug) => $"{CanonicalBase}/CodeSystem/{slug}";

    private static string Checked(string url)
    {
        var settled = url.TrimEnd('/');
        return IsCanonicalBase(settled)
            ? settled
            : throw new ArgumentException(
                $"Fhir:CanonicalBase: {url}; expected an absolute http or https URL without query or fragment",
                nameof(url)
            );
    }
}
