using System.Globalization;
using Microsoft.Extensions.Primitives;
using Microsoft.Net.Http.Headers;

namespace IrrigationFhir.Rest;

/// <summary>The entity tags of versions: weak, because a part of a version is sent under the tag of the whole.</summary>
internal static class EntityTags
{
    /// <summary>The tag of a version, such as <c>W/"3"</c>.</summary>
    public static string Of(long version) => new EntityTagHeaderValue(Quoted(version), isWeak: true).ToString();

    /// <summary>A header of tags as one text, whatever lines it came in (RFC 9110, 5.3); null where there is none.</summary>
    public static string? Named(StringValues header) => header.Count == 0 ? null : header.ToString();

    /// <summary>Whether a list of tags, or <c>*</c>, covers a version; R4 compares weak tags also for If-Match.</summary>
    public static bool Cover(StringValues tags, long version) =>
        EntityTagHeaderValue.TryParseList(tags, out var known)
        && known.Any(tag => tag.Equals(EntityTagHeaderValue.Any) || tag.Tag.Equals(Quoted(version), StringComparison.Ordinal));

    /// <summary>Whether If-Match lets a version be replaced. A number without quotes is no tag of RFC 9110, and is understood.</summary>
    public static bool LetReplace(string ifMatch, long version) =>
        Cover(ifMatch, version) || ifMatch.Trim() == version.ToString(CultureInfo.InvariantCulture);

    private static string Quoted(long version) => string.Create(CultureInfo.InvariantCulture, $"\"{version}\"");
}
