namespace Irrigation.Flags;

/// <summary>The next irrigation, or dose, is due by the order's times a day, or overdue.</summary>
public static class IrrigationDue
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "irrigation-due",
            "Irrigation due",
            FlagCategory.Safety,
            "the order; a day is shared out evenly, and overdue is our judgement",
            Cautions.KeepClosed,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (bedside.NextIrrigation is not { } next)
            return new Finding.NotRaised();
        if (bedside.At < next.Due)
            return new Finding.NotRaised { LookAgain = next.Due };
        var overdue = next.Due + bedside.Settings.OverdueAfter;
        var late = bedside.At >= overdue;
        var limit = FormattableString.Invariant($"limit {bedside.Settings.OverdueAfter.TotalMinutes:0.#} min");
        return new Finding.Raised(
            late ? FlagPriority.Medium : FlagPriority.Low,
            $"due at {bedside.Said(next.Due)}{(late ? $", overdue ({limit})" : "")}: {next.Says(bedside.Said)}."
        )
        {
            Evidence = [Evidence.Of(next.Order)],
            LookAgain = late ? next.Order.Ends : NodaTime.Instant.Min(overdue, next.Order.Ends ?? overdue),
        };
    }
}
