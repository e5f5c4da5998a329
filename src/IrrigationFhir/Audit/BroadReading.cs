using IrrigationFhir.Access;
using IrrigationFhir.Health;
using IrrigationFhir.Store;

namespace IrrigationFhir.Audit;

/// <summary>Alerts where one client was shown more patients within an hour than <c>Access:AlertPatientsPerHour</c>.</summary>
/// <remarks>
/// Counted are reads and searches as they are stored, by one thread; what leaves by itself, to a subscriber or in the file of an export,
/// was asked for as a whole and is not. A client that was told of is not told of again for an hour. A start begins anew.
/// </remarks>
internal sealed class BroadReading(AccessSettings settings, AuditTrail trail, Figures figures, ILogger<BroadReading> log)
{
    /// <summary>The code of the alert.</summary>
    public const string Code = "many-patients";

    private const long Hour = 3_600_000_000_000;

    private readonly Dictionary<string, Seen> _clients = [];
    private readonly CountedFigure _alerts = figures.Counted(
        "irrigationfhir.audit.alerts",
        "{alert}",
        "Clients that did what somebody should look at, though it was allowed.",
        "kind",
        Code
    );

    /// <summary>Whom a client was shown, and when the latest time; and until when it is not told of again.</summary>
    private sealed class Seen
    {
        public Dictionary<long, long> Patients { get; } = [];
        public long QuietUntil { get; set; } = long.MinValue;
    }

    /// <summary>Takes what was recorded.</summary>
    public void Take(IReadOnlyList<AuditEntry> entries)
    {
        if (settings.AlertPatientsPerHour == 0)
            return;
        foreach (var entry in entries)
        {
            if (entry is not { Deed: Deed.Read or Deed.Query, Outcome: DeedOutcome.Success, Patient.Key: var patient })
                continue;
            if (!_clients.TryGetValue(entry.Client, out var seen))
                _clients.Add(entry.Client, seen = new());
            if (entry.At < seen.QuietUntil)
                continue;
            seen.Patients[PatientNumber.Of(patient)] = entry.At;
            if (seen.Patients.Count <= settings.AlertPatientsPerHour)
                continue;
            foreach (var (old, _) in seen.Patients.Where(pair => pair.Value <= entry.At - Hour).ToList())
                seen.Patients.Remove(old);
            if (seen.Patients.Count > settings.AlertPatientsPerHour)
                Alert(entry, seen);
        }
    }

    private void Alert(AuditEntry entry, Seen seen)
    {
        seen.QuietUntil = entry.At + Hour;
        seen.Patients.Clear();
        _alerts.Add(Code);
        log.LogWarning("{Client} was shown more than {Patients} patients within an hour", entry.Client, settings.AlertPatientsPerHour);
        trail.Alert(entry.Client, Code, settings.AlertPatientsPerHour);
    }
}
