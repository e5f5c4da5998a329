namespace IrrigationFhir.Commands;

/// <summary>What somebody may have meant who mistyped a name.</summary>
internal static class Spelling
{
    /// <summary>The known name that is the fewest slips of the finger away, itself or one of its parts; null where none is near.</summary>
    public static string? Nearest(string given, IEnumerable<string> known)
    {
        var (nearest, slips) = known
            .Select(name => (Name: name, Slips: Parts(name).Min(part => Slips(given.ToLowerInvariant(), part.ToLowerInvariant()))))
            .OrderBy(near => near.Slips)
            .FirstOrDefault((null!, int.MaxValue));
        return slips <= Math.Max(2, given.Length / 3) ? nearest : null;
    }

    private static IEnumerable<string> Parts(string name) => [name, .. name.Split(':', '_')];

    /// <summary>Optimal string alignment distance: a letter too many, too few, another, or two swapped, each one slip.</summary>
    private static int Slips(string from, string to)
    {
        var table = new int[from.Length + 1, to.Length + 1];
        for (var i = 0; i <= from.Length; i++)
        {
            for (var j = 0; j <= to.Length; j++)
            {
                if (i == 0 || j == 0)
                {
                    table[i, j] = i + j;
                    continue;
                }

                var cost = from[i - 1] == to[j - 1] ? 0 : 1;
                table[i, j] = Math.Min(Math.Min(table[i - 1, j] + 1, table[i, j - 1] + 1), table[i - 1, j - 1] + cost);
                if (i > 1 && j > 1 && from[i - 1] == to[j - 2] && from[i - 2] == to[j - 1])
                    table[i, j] = Math.Min(table[i, j], table[i - 2, j - 2] + 1);
            }
        }

        return table[from.Length, to.Length];
    }
}
