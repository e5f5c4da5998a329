using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>
/// F21. From the third day of a catheter on, by the calendar, its indication was not reviewed today; or the closed system was opened.
/// </summary>
/// <remarks>A break of the closed system ends with its complete exchange: a catheter inserted after it comes with a new bag.</remarks>
public static class CatheterReview
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "catheter-review",
            "Catheter to be reviewed",
            FlagCategory.Safety,
            "NHSN (from memory); the hour is our judgement",
            Cautions.KeepClosed,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (Opened(bedside) is { } opened)
        {
            var reason = opened.Reason is { } why ? $": {why}" : "";
            return new Finding.Raised(FlagPriority.Low, $"the closed system was opened at {bedside.Said(opened.At)}{reason}.")
            {
                Evidence = [Evidence.Of(opened)],
                LookAgain = opened.At + bedside.Settings.EntryFlagStands,
            };
        }

        if (CatheterDays.InPlaceSince(bedside) is not { } inserted)
            return new Finding.NotRaised();
        var zone = bedside.Log.Frame.Zone;
        var today = bedside.At.InZone(zone).Date;
        var day = CatheterDays.DayOf(inserted, bedside.At, zone);
        var firstDue = inserted.InZone(zone).Date.PlusDays(bedside.Settings.ReviewFromDay - 1);
        if (today < firstDue)
            return new Finding.NotRaised { LookAgain = Due(firstDue) };
        var reviewed = bedside.Last<IndicationReviewed>();
        if (reviewed?.At.InZone(zone).Date == today)
            return new Finding.NotRaised { LookAgain = Due(today.PlusDays(1)) };

        // A flag that stands from yesterday goes on; a new one waits for the hour.
        if (bedside.At < Due(today) && bedside.Standing("catheter-review") is null)
            return new Finding.NotRaised { LookAgain = Due(today) };
        var inPlace = $"day {bedside.Settings.ReviewFromDay} or later of the catheter inserted {bedside.Said(inserted)}";
        var since = reviewed is null ? "on record" : $"since {bedside.Said(reviewed.At)}";
        return new Finding.Raised(FlagPriority.Low, $"{inPlace}, and its indication was not reviewed {since}.")
        {
            Evidence = reviewed is null ? [] : [Evidence.Of(reviewed)],
        };

        Instant Due(LocalDate date) => zone.AtStartOfDay(date).ToInstant() + bedside.Settings.ReviewBy;
    }

    /// <summary>The last break of the closed system, for a shift and until the system is renewed; null where there is none.</summary>
    private static ClosedSystemOpened? Opened(Bedside bedside) =>
        bedside.Last<ClosedSystemOpened>() is { } opened
        && bedside.At < opened.At + bedside.Settings.EntryFlagStands
        && !(bedside.Last<CatheterInserted>()?.At > opened.At)
            ? opened
            : null;
}
