using Hl7.Fhir.Model;

namespace IrrigationFhir.Intake;

/// <summary>Which status of an Observation may follow which, on content that changes.</summary>
/// <remarks>
/// R4, observation-status: registered, preliminary, final, then amended or corrected, which correct one another; anything may turn
/// out to have been entered in error, and nothing comes back from that; cancelled comes before any result. A final result that is
/// changed says so: final to final is no correction, and final to preliminary would take back that it was complete.
/// </remarks>
internal static class StatusTransitions
{
    /// <summary>Statuses that carry a result, or withdraw one; the others have nothing to record.</summary>
    public static bool Recorded(ObservationStatus status) =>
        status
            is ObservationStatus.Preliminary
                or ObservationStatus.Final
                or ObservationStatus.Amended
                or ObservationStatus.Corrected
                or ObservationStatus.EnteredInError;

    /// <summary>Whether other content of status <paramref name="to"/> may supersede what has status <paramref name="from"/>.</summary>
    public static bool Allows(ObservationStatus from, ObservationStatus to) =>
        (from, to) switch
        {
            (ObservationStatus.EnteredInError, _) => to == ObservationStatus.EnteredInError,
            (_, ObservationStatus.EnteredInError) => true,
            (ObservationStatus.Unknown, _) => true,
            (ObservationStatus.Registered, ObservationStatus.Amended or ObservationStatus.Corrected) => false,
            (ObservationStatus.Registered, _) => true,
            (ObservationStatus.Preliminary, ObservationStatus.Preliminary or ObservationStatus.Final or ObservationStatus.Cancelled) =>
                true,
            (
                ObservationStatus.Final
                    or ObservationStatus.Amended
                    or ObservationStatus.Corrected,
                ObservationStatus.Amended
                    or ObservationStatus.Corrected
            ) => true,
            (ObservationStatus.Cancelled, ObservationStatus.Cancelled) => true,
            _ => false,
        };
}
