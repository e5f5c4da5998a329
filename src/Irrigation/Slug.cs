using System.Collections.Concurrent;
using System.Text;

namespace Irrigation;

/// <summary>
/// One slug per thing: the words of a member's name in lower case, joined by hyphens (<c>BagTakenDown</c> is <c>bag-taken-down</c>).
/// </summary>
public static class Slug
{
    private static readonly ConcurrentDictionary<Enum, string> Known = new();

    /// <summary>The slug of an enumeration's member.</summary>
    public static string Of(Enum member) => Known.GetOrAdd(member, static m => Of(m.ToString()));

    /// <summary>The slug of a name written in capitals-and-lower-case.</summary>
    public static string Of(string name)
    {
        var slug = new StringBuilder(name.Length + 8);
        foreach (var letter in name)
        {
            if (char.IsUpper(letter) && slug.Length > 0)
                slug.Append('-');
            slug.Append(char.ToLowerInvariant(letter));
        }

        return slug.ToString();
    }

    /// <summary>A member's name as words of a sentence: <c>not covered</c>.</summary>
    public static string Words(Enum member) => Of(member).Replace('-', ' ');

    /// <summary>The member that a slug names, or null where it names none.</summary>
    public static T? Read<T>(string? slug)
        where T : struct, Enum
    {
        foreach (var member in Enum.GetValues<T>())
        {
            if (Of(member) == slug)
                return member;
        }

        return null;
    }

    /// <summary>All slugs of an enumeration, in the order of its members.</summary>
    public static IReadOnlyList<string> All<T>()
        where T : struct, Enum => [.. Enum.GetValues<T>().Select(m => Of(m))];
}
