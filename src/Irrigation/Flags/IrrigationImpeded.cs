using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>
/// Resistance was met, an aliquot could not be given in full, or the irrigation was ended for another reason than that it was done.
/// </summary>
/// <remarks>Cleared by a later aliquot, given in full and without resistance; or a shift after.</remarks>
public static class IrrigationImpeded
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new("irrigation-impeded", "Irrigation impeded", FlagCategory.Clinical, "as met", Cautions.NeverForce, Judge);

    private static Finding Judge(Bedside bedside)
    {
        var given = bedside.Log[Channel.Aliquot].LastAtOrBefore(bedside.At) as IrrigantInstilled;
        var stop = bedside.Last<IrrigationStopped>();
        if (stop is { Why: { } why and not (StopReason.TargetReached or StopReason.CyclesDone) } && !(given?.At > stop.At))
        {
            var note = stop.Header.Note is { } said ? $": {said}" : "";
            var priority = why is StopReason.Declined or StopReason.Other ? FlagPriority.Medium : FlagPriority.High;
            return Said(bedside, stop, priority, $"irrigation was ended at {bedside.Said(stop.At)} {Words.Of(why)}{note}");
        }

        return given switch
        {
            { Resistance: true } => Said(bedside, given, FlagPriority.High, $"resistance was met at {bedside.Said(given.At)}{Of(given)}"),
            { Intended: { } meant } when given.Amount < meant => Said(
                bedside,
                given,
                FlagPriority.Medium,
                $"an aliquot was not given in full at {bedside.Said(given.At)}{Of(given)}"
            ),
            _ => new Finding.NotRaised(),
        };
    }

    private static string Of(IrrigantInstilled given) =>
        given.Intended is { } meant && given.Amount < meant ? $": {given.Amount} of {meant} given" : $": {given.Amount} given";

    private static Finding Said(Bedside bedside, Entry entry, FlagPriority priority, string says)
    {
        var until = entry.At + bedside.Settings.EntryFlagStands;
        return bedside.At >= until
            ? new Finding.NotRaised()
            : new Finding.Raised(priority, $"{says}.") { Evidence = [Evidence.Of(entry)], LookAgain = until };
    }
}
