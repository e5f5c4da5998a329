using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>
/// F16. A limit of the irrigant in use is reached: days of neomycin-polymyxin, a dwell with it, acetic acid in a procedure, alum without a
/// known renal function, a hypotonic irrigant on a ward.
/// </summary>
public static class MedicatedLimit
{
    /// <summary>The rule.</summary>
    public static FlagRule Rule { get; } =
        new(
            "medicated-limit",
            "Limit of a medicated irrigant",
            FlagCategory.Safety,
            "US labels; J Urol 1992;147:697 (alum); Scholtes (water)",
            Cautions.Irrigant,
            Judge
        );

    private static Finding Judge(Bedside bedside)
    {
        if (OrderMismatch.Began(bedside) is null || !(bedside.Runs || bedside.Clamped is not null))
            return new Finding.NotRaised();
        var order = Orders.Latest(bedside.Log, bedside.At);
        var used = string.Join(", ", new[] { order?.Terms.Additive, Irrigants.InUse(bedside) }.OfType<string>().Distinct());
        Finding Raised(string says) =>
            new Finding.Raised(FlagPriority.Low, says) { Evidence = [.. order?.Entries.Select(Evidence.Of) ?? []] };

        if (Irrigants.Named(used, "neomycin"))
        {
            var since = Since(bedside, "neomycin");
            var until = since + bedside.Settings.NeomycinDays;
            if (bedside.Clamped is { } clamp)
                return Raised(
                    $"neomycin-polymyxin with the drain clamped since {bedside.Said(clamp.At)}: "
                        + "the label asks for a continuous rinse, not interrupted for more than a few minutes."
                );
            var days = FormattableString.Invariant($"{bedside.Settings.NeomycinDays.TotalDays:0.#} days");
            return bedside.At >= until
                ? Raised($"neomycin-polymyxin since {bedside.Said(since)}: the label's {days} ended at {bedside.Said(until)}.")
                : new Finding.NotRaised { LookAgain = until };
        }

        if (Irrigants.Named(used, "acetic"))
        {
            return bedside.Facts.DuringProcedure
                ? Raised("acetic acid in an endoscopic procedure: the label says not for transurethral surgery.")
                : new Finding.Undecided(
                    "acetic acid is in use, and whether the mucosa is intact is not on record",
                    "a look at the order and the patient"
                );
        }

        if (Irrigants.Named(used, "alum"))
            return new Finding.Undecided("alum is in use, and the renal function is not on record", "the renal function");
        return Irrigants.IsHypotonic(used) == true && !bedside.Facts.DuringProcedure
            ? Raised($"{used}, taken as hypotonic or without electrolytes, runs on a ward: it is absorbed.")
            : new Finding.NotRaised();
    }

    /// <summary>Since when a drug has been ordered or hung without another in between: the earlier of the two.</summary>
    private static Instant Since(Bedside bedside, string drug)
    {
        var since = bedside.At;
        void Take(IEnumerable<(Instant At, string Words)> latestFirst)
        {
            foreach (var (at, words) in latestFirst.TakeWhile(said => Irrigants.Named(said.Words, drug)))
                since = Instant.Min(since, at);
        }

        var upTo = bedside.At + Duration.Epsilon;
        Take(
            Orders
                .Before(bedside.Log, bedside.At)
                .Select(order => order.Terms)
                .Select(terms => (terms.At, $"{terms.Additive} {terms.Solution}"))
        );
        foreach (var line in bedside.Lines)
        {
            Take(
                bedside
                    .Log[Channel.Bag(line)]
                    .Before(upTo)
                    .OfType<BagHung>()
                    .Where(bag => bag.Solution is not null)
                    .Select(bag => (bag.At, bag.Solution!))
            );
        }

        return since;
    }
}
