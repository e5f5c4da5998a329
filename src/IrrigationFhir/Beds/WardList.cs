using NodaTime;

namespace IrrigationFhir.Beds;

/// <summary>The irrigated beds of a ward, by who needs a person first.</summary>
/// <remarks>
/// The order is our judgement, and these are its rules. First every bed with an urgent flag: those that nobody acknowledged before those
/// that somebody saw, then the oldest. Then every bed whose drainage is overdue to be read, by what ran in unseen: unknown first, then the
/// most. Then every bed with a high flag, as the urgent ones. Then by what is due first. Beds of which nothing is due come last, by
/// where they stand.
/// </remarks>
internal static class WardList
{
    /// <summary>In that order.</summary>
    public static IReadOnlyList<BedOnWard> InOrder(IEnumerable<BedOnWard> beds) =>
        [
            .. beds.OrderBy(bed => bed.Attention)
                .ThenBy(WhoSaw)
                .ThenByDescending(Volume)
                .ThenBy(Since)
                .ThenBy(bed => bed.Episode.Definition.Location?.Says, StringComparer.Ordinal)
                .ThenBy(bed => bed.Episode.Id, StringComparer.Ordinal),
        ];

    private static bool WhoSaw(BedOnWard bed) =>
        bed.Attention is Attention.Urgent or Attention.High && Leading(bed).All(flag => flag.Seen is not null);

    private static decimal Volume(BedOnWard bed) => bed.Attention == Attention.NotRead ? bed.InSince?.Millilitres ?? decimal.MaxValue : 0;

    private static Instant Since(BedOnWard bed) =>
        bed.Attention switch
        {
            Attention.Urgent or Attention.High => Leading(bed).Min(flag => flag.Flag.Start),
            Attention.NotRead => bed.LastReading ?? bed.Episode.Definition.Frame.Start,
            _ => bed.Due is [var first, ..] ? first.At : Instant.MaxValue,
        };

    /// <summary>The flags of the highest priority that stands.</summary>
    private static IEnumerable<FlagAtBed> Leading(BedOnWard bed) =>
        bed.Flags.Where(flag => flag.Flag.Latest.Priority == bed.Flags[0].Flag.Latest.Priority);
}
