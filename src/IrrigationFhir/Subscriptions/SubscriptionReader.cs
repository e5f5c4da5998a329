using System.Collections.Immutable;
using System.Globalization;
using System.Net.Http.Headers;
using System.Text.RegularExpressions;
using Hl7.Fhir.Model;
using Hl7.Fhir.Utility;
using Irrigation.Episodes;
using IrrigationFhir.Fhir;
using Duration = NodaTime.Duration;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Subscriptions;

/// <summary>Reads a Subscription by the Subscriptions R5 Backport guide 1.1.0: all problems at once.</summary>
/// <remarks>Its status is not read here: what a client may set depends on what stands.</remarks>
internal static partial class SubscriptionReader
{
    /// <summary>Shortest and longest heartbeat, s. Our judgement: below, the heartbeats are the load; above, they say nothing.</summary>
    public const int ShortestHeartbeat = 10,
        LongestHeartbeat = 604_800;

    /// <summary>Shortest and longest timeout, s. Our judgement: a receiver that thinks longer than two minutes has failed.</summary>
    public const int ShortestTimeout = 1,
        LongestTimeout = 120;

    /// <summary>Most events of one notification that can be asked for, and what is taken where nothing is. Our judgement.</summary>
    public const int LargestMaxCount = 1000,
        DefaultMaxCount = 20;

    /// <summary>Longest endpoint, in characters.</summary>
    public const int LongestEndpoint = 2048;

    private const string At = "Subscription";

    // What the store can hold.
    private static readonly Instant EarliestEnd = Instant.FromUtc(1900, 1, 1, 0, 0),
        LatestEnd = Instant.FromUtc(2260, 1, 1, 0, 0);

    // A body can hold the same mistake a hundred thousand times; who has mended so many knows the rest.
    private const int MostAlike = 20;

    /// <summary>Reads it.</summary>
    /// <param name="resource">The Subscription.</param>
    /// <param name="endpoints">Which endpoints may be notified.</param>
    /// <param name="now">An end has to lie after it.</param>
    /// <param name="known">The stored header lines, for those that the client had withheld from it.</param>
    /// <param name="profiles">The base of topics and codes.</param>
    /// <param name="mayHaveEnded">Whether an end that has passed is no problem: for one that is switched off.</param>
    /// <returns>The request, or null and at least one problem.</returns>
    public static (SubscriptionRequest? Request, IReadOnlyList<EntryProblem> Problems) Read(
        Subscription resource,
        IEndpointRules endpoints,
        Instant now,
        IReadOnlyList<string> known,
        Profiles profiles,
        bool mayHaveEnded = false
    )
    {
        List<EntryProblem> problems = [.. CrossVersion(resource, At).Take(MostAlike)];
        if (string.IsNullOrWhiteSpace(resource.Reason))
            problems.Add(EntryProblem.Missing($"{At}.reason", "why it is wanted, in words"));
        if (resource.ModifierExtension.Count > 0)
            problems.Add(SubscriptionProblem.UnknownExtension($"{At}.modifierExtension"));

        var topic = Topic(resource, profiles, problems);
        var filters = topic is null ? [] : Filters(resource.CriteriaElement!, topic, profiles, problems);
        var end = resource.End is { } at ? Instant.FromDateTimeOffset(at) : (Instant?)null;
        if (end <= now && !mayHaveEnded)
            problems.Add(SubscriptionProblem.Ended($"{At}.end", now));
        if (end > LatestEnd || end < EarliestEnd)
            problems.Add(SubscriptionProblem.EndOutOfRange($"{At}.end"));

        if (resource.Channel is not { } channel)
        {
            problems.Add(EntryProblem.Missing($"{At}.channel", "how to notify"));
            return (null, problems);
        }

        Unknown(
            channel,
            $"{At}.channel",
            problems,
            Profiles.Backport.HeartbeatPeriod,
            Profiles.Backport.Timeout,
            Profiles.Backport.MaxCount
        );
        Channel(channel, problems);
        var endpoint = Endpoint(channel, endpoints, problems);
        var mime = Mime(channel, problems);
        var content = Content(channel, endpoint, problems);
        var (lines, refused) = HeaderLines.Read([.. channel.Header], known, $"{At}.channel.header");
        problems.AddRange(refused);
        var heartbeat = Number<UnsignedInt>(
            channel,
            Profiles.Backport.HeartbeatPeriod,
            u => u.Value,
            ShortestHeartbeat,
            LongestHeartbeat,
            " s",
            problems
        );
        var timeout = Number<UnsignedInt>(
            channel,
            Profiles.Backport.Timeout,
            u => u.Value,
            ShortestTimeout,
            LongestTimeout,
            " s",
            problems
        );
        var most = Number<PositiveInt>(channel, Profiles.Backport.MaxCount, p => p.Value, 1, LargestMaxCount, "", problems);

        if (problems.Count > 0)
            return (null, problems);
        return (
            new(
                topic!,
                filters,
                endpoint!,
                mime!,
                content!.Value,
                [.. lines],
                Seconds(heartbeat),
                Seconds(timeout),
                most ?? DefaultMaxCount,
                end
            ),
            []
        );
    }

    private static SubscriptionTopic? Topic(Subscription resource, Profiles profiles, List<EntryProblem> problems)
    {
        if (string.IsNullOrEmpty(resource.Criteria))
        {
            problems.Add(EntryProblem.Missing($"{At}.criteria", "the canonical URL of a topic"));
            return null;
        }

        var topic = Topics.Find(resource.Criteria, profiles);
        if (topic is null)
            problems.Add(SubscriptionProblem.UnknownTopic($"{At}.criteria", profiles));
        return topic;
    }

    private static ImmutableArray<SubscriptionFilter> Filters(
        FhirString criteria,
        SubscriptionTopic topic,
        Profiles profiles,
        List<EntryProblem> problems
    )
    {
        Unknown(criteria, $"{At}.criteria", problems, Profiles.Backport.FilterCriteria);
        if (criteria.Extension.Count > SubscriptionFilter.Most)
        {
            problems.Add(SubscriptionProblem.TooManyFilters($"{At}.criteria.extension", criteria.Extension.Count));
            return [];
        }

        List<SubscriptionFilter> filters = [];
        foreach (
            var (extension, i) in criteria
                .Extension.Select((extension, i) => (extension, i))
                .Where(at => at.extension.Url == Profiles.Backport.FilterCriteria)
        )
        {
            var where = $"{At}.criteria.extension[{i}].value";
            if (extension.Value is not FhirString { Value: { Length: > 0 } text })
            {
                problems.Add(SubscriptionProblem.FilterOfAnotherType(where, topic));
                continue;
            }

            var (read, refused) = SubscriptionFilter.Read(text, topic, profiles, where);
            filters.AddRange(read);
            problems.AddRange(refused);
        }

        if (filters.Count > SubscriptionFilter.Most)
            problems.Add(SubscriptionProblem.TooManyFilters($"{At}.criteria.extension", filters.Count));
        return [.. filters];
    }

    private static void Channel(Subscription.ChannelComponent channel, List<EntryProblem> problems)
    {
        var where = $"{At}.channel.type";
        if (channel.TypeElement is null)
            problems.Add(EntryProblem.Missing(where, "rest-hook"));
        else if (channel.Type is not Subscription.SubscriptionChannelType.RestHook)
            problems.Add(
                SubscriptionProblem.Channel(
                    where,
                    $"channel '{SubscriptionProblem.Clip(channel.Type?.GetLiteral() ?? channel.TypeElement.JsonValue?.ToString() ?? "")}'"
                )
            );
        if (channel.TypeElement?.Extension.Any(extension => extension.Url == Profiles.Backport.ChannelType) == true)
            problems.Add(SubscriptionProblem.Channel(where, "a channel that R4 does not know"));
        if (channel.TypeElement is { } type)
            Unknown(type, where, problems, Profiles.Backport.ChannelType);
    }

    private static Uri? Endpoint(Subscription.ChannelComponent channel, IEndpointRules endpoints, List<EntryProblem> problems)
    {
        var where = $"{At}.channel.endpoint";
        if (string.IsNullOrEmpty(channel.Endpoint))
            problems.Add(EntryProblem.Missing(where, "the URL that notifications are posted to"));
        else if (channel.Endpoint.Length > LongestEndpoint)
            problems.Add(SubscriptionProblem.Endpoint(where, $"more than {LongestEndpoint} characters"));
        else if (channel.Endpoint.Any(IsBlank))
            problems.Add(SubscriptionProblem.Endpoint(where, "a URL with blanks"));
        else if (
            !Uri.TryCreate(channel.Endpoint, UriKind.Absolute, out var uri)
            || uri.Scheme is not ("http" or "https")
            || uri.Host.Length == 0
        )
            problems.Add(SubscriptionProblem.Endpoint(where, "no absolute http or https URL"));
        else if (uri.UserInfo.Length > 0)
            problems.Add(SubscriptionProblem.Endpoint(where, "a URL with a user"));
        else if (channel.Endpoint.Contains('#', StringComparison.Ordinal))
            problems.Add(SubscriptionProblem.Endpoint(where, "a URL with a fragment"));
        else if (endpoints.Refusal(uri) is { } why)
            problems.Add(SubscriptionProblem.Endpoint(where, why));
        else
            return uri;
        return null;
    }

    // .NET would read an address without its blanks, and what is read back would be another than what is called.
    private static bool IsBlank(char c) =>
        char.IsWhiteSpace(c) || char.IsControl(c) || char.GetUnicodeCategory(c) == UnicodeCategory.Format;

    // The guide's examples say application/fhir+json, the public test kit takes in application/json only: both are FHIR JSON (R4
    // http.html).
    private static string? Mime(Subscription.ChannelComponent channel, List<EntryProblem> problems)
    {
        var where = $"{At}.channel.payload";
        if (string.IsNullOrEmpty(channel.Payload))
        {
            problems.Add(EntryProblem.Missing(where, "the media type of a notification, such as application/fhir+json"));
            return null;
        }

        var taken =
            MediaTypeHeaderValue.TryParse(channel.Payload, out var media)
            && media.MediaType?.ToLowerInvariant() is "application/fhir+json" or "application/json"
            && media.Parameters.All(p => p.Name.Equals("fhirVersion", StringComparison.OrdinalIgnoreCase) && p.Value?.Trim('"') == "4.0");
        if (taken)
            return channel.Payload;
        problems.Add(SubscriptionProblem.Payload(where, $"media type '{SubscriptionProblem.Clip(channel.Payload)}'"));
        return null;
    }

    private static PayloadContent? Content(Subscription.ChannelComponent channel, Uri? endpoint, List<EntryProblem> problems)
    {
        var where = $"{At}.channel.payload.extension";
        var codes = string.Join(", ", Irrigation.Slug.All<PayloadContent>());
        var said = channel.PayloadElement?.Extension.Where(extension => extension.Url == Profiles.Backport.PayloadContent).ToList() ?? [];
        if (channel.PayloadElement is { } payload)
            Unknown(payload, $"{At}.channel.payload", problems, Profiles.Backport.PayloadContent);
        if (said.Count != 1)
        {
            problems.Add(
                SubscriptionProblem.Content(
                    where,
                    said.Count == 0 ? "nothing about how much to send" : "more than one content",
                    $"backport-payload-content once: {codes}"
                )
            );
            return null;
        }

        var code = (said[0].Value as Code)?.Value;
        if (Irrigation.Slug.Read<PayloadContent>(code) is not { } content)
        {
            problems.Add(
                SubscriptionProblem.Content(
                    where,
                    code is null ? "no code" : $"content '{SubscriptionProblem.Clip(code)}'",
                    $"a code: {codes}"
                )
            );
            return null;
        }

        // What does not leave the machine cannot be overheard on the way.
        if (content == PayloadContent.FullResource && endpoint is { Scheme: "http", IsLoopback: false })
        {
            problems.Add(
                SubscriptionProblem.Content(
                    where,
                    "full-resource over http",
                    "id-only or empty, or an https endpoint: a patient's data do not travel in the open"
                )
            );
            return null;
        }

        return content;
    }

    private static int? Number<T>(
        Subscription.ChannelComponent channel,
        string url,
        Func<T, int?> of,
        int from,
        int to,
        string unit,
        List<EntryProblem> problems
    )
        where T : DataType
    {
        var where = $"{At}.channel.extension";
        var said = channel.Extension.Where(extension => extension.Url == url).ToList();
        if (said.Count > 1)
            problems.Add(SubscriptionProblem.Repeated(where, url[(url.LastIndexOf('/') + 1)..]));
        if (said.Count != 1)
            return null;
        var number = said[0].Value is T value ? of(value) : null;
        if (number >= from && number <= to)
            return number;
        problems.Add(
            SubscriptionProblem.OutOfRange(
                $"{where}({url[(url.LastIndexOf('/') + 1)..]})",
                number,
                typeof(T) == typeof(PositiveInt) ? "positiveInt" : "unsignedInt",
                from,
                to,
                unit
            )
        );
        return null;
    }

    private static Duration? Seconds(int? number) => number is { } seconds ? Duration.FromSeconds(seconds) : null;

    // A misspelt filter would let everybody's data pass: in these places nothing is passed over.
    private static void Unknown(Element element, string where, List<EntryProblem> problems, params ReadOnlySpan<string> known)
    {
        var unknown = 0;
        foreach (var extension in element.Extension)
        {
            if (!known.Contains(extension.Url ?? "") && !IsCrossVersion(extension.Url) && unknown++ < MostAlike)
                problems.Add(SubscriptionProblem.UnknownExtension($"{where}.extension"));
        }

        if (element is BackboneElement { ModifierExtension.Count: > 0 })
            problems.Add(SubscriptionProblem.UnknownExtension($"{where}.modifierExtension"));
    }

    private static IEnumerable<EntryProblem> CrossVersion(Base element, string where)
    {
        foreach (var (name, value) in element.EnumerateElements())
        {
            foreach (
                var part in value is Base one ? [one]
                : value is System.Collections.IEnumerable list ? list.OfType<Base>()
                : []
            )
            {
                var at = $"{where}.{name}";
                if (part is Extension extension && IsCrossVersion(extension.Url))
                    yield return SubscriptionProblem.CrossVersion(at);
                foreach (var problem in CrossVersion(part, at))
                    yield return problem;
            }
        }
    }

    private static bool IsCrossVersion(string? url) => url is not null && OfAnotherVersion().IsMatch(url);

    [GeneratedRegex(@"^http://hl7\.org/fhir/[0-9]+\.[0-9]+/")]
    private static partial Regex OfAnotherVersion();
}
