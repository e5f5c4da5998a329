using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Runs;

namespace Irrigation;

/// <summary>
/// What everything that has a code is called in a sentence. The sentences themselves stand beside what they are about, a rule's in its
/// file; whatever names a coded thing in one takes its words from here, so that no code is read at a bedside.
/// </summary>
public static class Words
{
    /// <summary>What to know of a number; the same as the display of the code.</summary>
    public static string Of(Caveat caveat) =>
        caveat switch
        {
            Caveat.IrrigantFromRate => "instilled volume taken from charted flow rates, not measured",
            Caveat.IrrigantInterpolated => "closing reading fell between two readings of the irrigant; its share is interpolated",
            Caveat.IrrigantNotReadYet => "irrigant not read yet",
            Caveat.IrrigantNotCharted => "drainage charted while irrigation ran, no irrigant charted for it",
            Caveat.IrrigantStartUnknown => "start of the irrigant unknown",
            Caveat.IrrigantUnknown => "irrigant volume unknown",
            Caveat.BagStartUnknown => "content of the bag at its start unknown",
            Caveat.BagEndUnknown => "content of the bag at its end unknown",
            Caveat.BagLevelRose => "more in the bag than before",
            Caveat.TubingPrimeNotCharted => "fluid that filled the tubing not charted",
            Caveat.TwoMeasuresOnOneLine => "two measures on one line",
            Caveat.PumpCounterReset => "pump counter was reset",
            Caveat.DeviceChanged => "readings of another device",
            Caveat.ContainerReset => "drainage container was changed or its counter reset",
            Caveat.LevelBelowPrevious => "drainage level lower than before",
            Caveat.DrainageStartUnknown => "content of the container at the start unknown",
            Caveat.DrainageNotCharted => "irrigant ran in and no drainage was charted for it",
            Caveat.RetainedStartUnknown => "volume in the bladder at the start unknown",
            Caveat.NegativeOutput => "output below zero",
            Caveat.Apportioned => "share of a longer interval",
            Caveat.LateEntry => "entry charted late",
            Caveat.CorrectedEntry => "entry corrected",
            Caveat.RouteStartUnknown => "start of another urine route unknown",
            Caveat.OtherRouteNotRead => "another urine route not read",
            Caveat.ImplausibleFlow => "implausible flow",
            Caveat.ImplausibleVolume => "implausible volume",
            Caveat.DrainageWhileClamped => "drainage charted while the drain was clamped",
            Caveat.DwellInProgress => "dwell in progress",
            Caveat.Gap => "long gap between readings",
            Caveat.Doubted => "a reading is doubted",
            Caveat.FlowStartUnknown => "start or end of a flow not charted to the minute",
        };

    /// <summary>Why a criterion says nothing.</summary>
    public static string Of(Obstacle obstacle) =>
        obstacle switch
        {
            Obstacle.AgeUnknown => "the date of birth is not known",
            Obstacle.AgeDoesNotFit => "it is for another age",
            Obstacle.WeightUnknown => "no weight was charted",
            Obstacle.WeightImplausible => "the weight is not plausible",
            Obstacle.NotCovered => "readings do not cover enough of the time",
            Obstacle.OutputUnknown => "the output of a part of the time is not known",
            Obstacle.DoubtsUnknown => "something was not charted, so how far off the number may be is not known",
            Obstacle.TooUncertain => "at this flow and way of measuring the number is too uncertain to hold against the threshold",
            Obstacle.Gap => "the time between two readings is too long to speak of single hours",
            Obstacle.Doubted => "a reading is doubted, and nobody has confirmed or corrected it yet",
            Obstacle.BelowZero => "the whole interval lies below 0, so something that left or stayed is missing in the balance",
            Obstacle.StillOpen => "part of the time is still open",
        };

    /// <summary>What would take an obstacle away.</summary>
    public static string Needs(Obstacle obstacle) =>
        obstacle switch
        {
            Obstacle.AgeUnknown => "a date of birth",
            Obstacle.AgeDoesNotFit => "a criterion for this age",
            Obstacle.WeightUnknown => "a weight",
            Obstacle.WeightImplausible => "a weight that can be true",
            Obstacle.NotCovered => "readings that cover the window",
            Obstacle.OutputUnknown or Obstacle.DoubtsUnknown => "the volumes that were not charted",
            Obstacle.TooUncertain => "a more exact measurement",
            Obstacle.Doubted => "the doubted reading confirmed or corrected",
            Obstacle.BelowZero => "the missing or wrong volume",
            Obstacle.Gap => "readings without long gaps",
            Obstacle.StillOpen => "a reading of the bag or of the other route",
        };

    /// <summary>Why there is no number.</summary>
    public static string Of(AbsentReason reason) =>
        reason switch
        {
            AbsentReason.IrrigantNotReadYet => "the irrigant has not been read yet",
            AbsentReason.IrrigantUnknown => "how much irrigant ran in is not known",
            AbsentReason.DrainageNotReadYet => "a drainage container was taken away and has not been read yet",
            AbsentReason.DrainageUnknown => "how much drained is not known",
            AbsentReason.NotCovered => "no two readings enclose any of this time",
        };

    /// <summary>How a value has to lie to a threshold.</summary>
    public static string Comparison(string comparison) =>
        comparison switch
        {
            "<" => "less than",
            "<=" => "at most",
            _ => "more than",
        };

    /// <summary>How a criterion is answered.</summary>
    public static string Of(Answer answer) =>
        answer switch
        {
            Answer.Met => "met",
            Answer.NotMet => "not met",
            Answer.Indeterminate => "cannot be decided",
            Answer.NotEvaluable => "cannot be said",
        };

    /// <summary>The same after <c>it is</c>.</summary>
    public static string Said(Answer answer) =>
        answer switch
        {
            Answer.Met => "met",
            Answer.NotMet => "not met",
            Answer.Indeterminate => "not decided",
            Answer.NotEvaluable => "not to be told",
        };

    /// <summary>How final a number is.</summary>
    public static string Of(OutputStatus status) =>
        status switch
        {
            OutputStatus.Final => "final",
            OutputStatus.Preliminary => "preliminary",
            OutputStatus.Amended => "amended",
            OutputStatus.Corrected => "corrected",
        };

    /// <summary>Why an irrigation was ended, as the end of a sentence.</summary>
    public static string Of(StopReason reason) =>
        reason switch
        {
            StopReason.TargetReached => "as the return was as it was to be",
            StopReason.CyclesDone => "as the ordered cycles were done",
            StopReason.Resistance => "because resistance was met",
            StopReason.ShortReturn => "because too little came back",
            StopReason.Pain => "because of pain or spasm",
            StopReason.Bleeding => "because of bleeding",
            StopReason.Declined => "because the patient asked to stop",
            StopReason.Other => "for another reason",
        };

    /// <summary>What ended the time over which a trial was observed.</summary>
    public static string Of(TrialEnd end) =>
        end switch
        {
            TrialEnd.IrrigationResumed => "irrigation was resumed",
            TrialEnd.WashoutPerformed => "a washout was performed",
            TrialEnd.DrainReleased => "the drain was released",
            TrialEnd.CatheterRemoved => "the catheter was removed",
            TrialEnd.EpisodeEnded => "the irrigation ended",
        };

    /// <summary>What is to be known of an aliquot.</summary>
    public static string Of(AliquotMark mark) =>
        mark switch
        {
            AliquotMark.AboveUsual => "more than is usual",
            AliquotMark.NotInFull => "not given in full",
            AliquotMark.Resistance => "resistance was met",
        };

    /// <summary>Whose age a patient is of.</summary>
    public static string Of(AgeGroup group) =>
        group switch
        {
            AgeGroup.Unknown => "a patient of unknown age",
            AgeGroup.Neonate => "a newborn",
            AgeGroup.Child => "a child",
            AgeGroup.Adult => "an adult",
        };

    /// <summary>A kind of entry, or any other code of ours that has no words of its own: its words without hyphens.</summary>
    /// <param name="code">The code.</param>
    public static string Of(string code) =>
        code switch
        {
            "intermittent-manual" => "intermittent manual",
            "instillation-dwell" => "instillation and dwell",
            "kdigo" => "KDIGO",
            "prifle" => "pRIFLE",
            "neonatal-kdigo" => "neonatal KDIGO",
            _ => code.Replace('-', ' '),
        };

    /// <summary>Several sentences, the first of which begins as it is; without the last full stop.</summary>
    /// <param name="sentences">At least one, each without its full stop.</param>
    public static string Sentences(IEnumerable<string> sentences) =>
        string.Join(". ", sentences.Select((one, place) => place == 0 ? one : Capital(one)));

    /// <summary>A whole sentence begins with a capital.</summary>
    /// <param name="text">At least one letter.</param>
    public static string Capital(string text) => char.ToUpperInvariant(text[0]) + text[1..];
}
