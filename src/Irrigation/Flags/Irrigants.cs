using Irrigation.Episodes;

namespace Irrigation.Flags;

/// <summary>What an irrigant is, by the words it is charted in.</summary>
public static class Irrigants
{
    private static readonly string[] Isotonic = ["saline", "sodium chloride", "nacl", "ringer", "hartmann"];
    private static readonly string[] Hypotonic =
    [
        "water",
        "glycine",
        "sorbitol",
        "mannitol",
        "dextrose",
        "glucose",
        "acetic",
        "half-normal",
        "0.45",
    ];

    /// <summary>Whether it is hypotonic or has no electrolytes; null where its words do not tell.</summary>
    public static bool? IsHypotonic(string? solution) =>
        Named(solution, Hypotonic) ? true
        : Named(solution, Isotonic) ? false
        : null;

    /// <summary>Whether any of some words occurs in a text.</summary>
    public static bool Named(string? text, params ReadOnlySpan<string> words)
    {
        foreach (var word in words)
        {
            if (text?.Contains(word, StringComparison.OrdinalIgnoreCase) == true)
                return true;
        }

        return false;
    }

    /// <summary>What hangs, line by line: the bag and the words on it.</summary>
    public static IEnumerable<BagHung> Hanging(Bedside bedside)
    {
        foreach (var line in bedside.Lines.Where(line => bedside.Balance.BagHangs(line, bedside.At)))
        {
            var bags = bedside.Log[Channel.Bag(line)];
            for (var i = bags.FirstAfter(bedside.At) - 1; i >= 0 && bags[i] is not BagTakenDown; i--)
            {
                if (bags[i] is not BagHung hung)
                    continue;
                yield return hung;
                break;
            }
        }
    }

    /// <summary>
    /// What is in use: on the hanging bags, else what was given or hung last, else as ordered. Null where nobody said.
    /// </summary>
    public static string? InUse(Bedside bedside)
    {
        var hanging = string.Join(", ", Hanging(bedside).Select(bag => bag.Solution).OfType<string>().Distinct());
        if (hanging.Length > 0)
            return hanging;
        var lastHung = bedside
            .Lines.Select(line =>
                bedside.Log[Channel.Bag(line)].Before(bedside.At + NodaTime.Duration.Epsilon).OfType<BagHung>().FirstOrDefault()
            )
            .MaxBy(bag => bag?.At);
        if (
            bedside.Log[Channel.Aliquot].LastAtOrBefore(bedside.At) is IrrigantInstilled { Solution: not null } given
            && !(lastHung?.At > given.At)
        )
            return string.Join(", ", new[] { given.Solution, given.Additive }.OfType<string>());
        return lastHung?.Solution ?? Orders.Latest(bedside.Log, bedside.At)?.Terms.Solution;
    }
}
