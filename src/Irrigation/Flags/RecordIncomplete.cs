namespace Irrigation.Flags;

/// <summary>F19. Something that the record needs is missing, by name.</summary>
public static class RecordIncomplete
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "record-incomplete",
            "Record incomplete",
            FlagCategory.DataQuality,
            "teaching checklists; what counts as complete is our judgement",
            Cautions.MissingIsNotZero,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (OrderMismatch.Began(bedside) is not { } began)
            return new Finding.NotRaised();
        var due = began + bedside.Settings.RecordDueAfter;
        if (bedside.At < due)
            return new Finding.NotRaised { LookAgain = due };
        var missing = CompleteRecord.Of(bedside).Where(item => !item.IsRecorded).ToList();
        var look = bedside.Cycled.Latest?.OverAt; // what is done after a run is asked for then
        return missing.Count == 0
            ? new Finding.NotRaised { LookAgain = look }
            : new Finding.Raised(FlagPriority.Low, $"missing: {CompleteRecord.Says(missing)}.") { LookAgain = look };
    }
}
