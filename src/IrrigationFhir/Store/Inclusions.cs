using System.Data.Common;
using System.Text;
using Dapper;
using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>Follows references from the matches of a search, within the snapshot of that search.</summary>
internal sealed class Inclusions(DbConnection connection, DbTransaction snapshot, SearchQuery query, CancellationToken stop)
{
    private readonly IReadOnlyList<Inclusion> inclusions = query.Includes ?? [];
    private readonly int most = query.MostIncluded;

    /// <summary>Ids in one statement; well under the number of values a statement may have.</summary>
    public const int AtOnce = 500;

    /// <summary>How often an inclusion that iterates is followed. Chains of derivation here are three long.</summary>
    public const int Rounds = 5;

    /// <summary>What points at some resources of a type, by references of its own.</summary>
    internal const string Pointing = """
        select r.type, r.id from resource t cross join resource_link l cross join resource r
        where t.type = @target and t.id in @ids and l.patient = t.patient and l.parameter in @links and l.target = t.number
            and r.patient = l.patient and r.number = l.number and r.type = @type
        """;

    /// <summary>What points at some addresses, by references that others have too, or did so before there was anything there.</summary>
    internal const string PointingAlike = """
        select r.type, r.id from reference_set_member m cross join resource r
        where m.parameter in @parameters and m.reference in @addresses and m.reference <> '' and r.patient = m.patient and r.type = @type
            and (r.about = m.number or exists (select 1 from resource_link l
                where l.patient = m.patient and l.parameter in @links and l.target = -m.number and l.number = r.number))
        """;

    /// <summary>Addresses that the resources of some ids point at by references that others have too.</summary>
    internal const string PointedAt = """
        select m.reference from resource r cross join reference_set_member m
        where r.type = @type and r.id in @ids and m.patient = r.patient and m.number = r.about
            and m.parameter in @parameters and m.reference <> ''
        """;

    private readonly HashSet<string> _seen = [];
    private readonly List<ResourceVersion> _included = [];

    /// <summary>What comes along with the matches, and whether that is all.</summary>
    public async Task<(IReadOnlyList<ResourceVersion> Included, bool All)> Follow(IReadOnlyList<ResourceVersion> matches)
    {
        _seen.UnionWith(matches.Select(Address));
        var from = matches;
        for (var round = 0; round <= Rounds && from.Count > 0; round++)
        {
            var before = _included.Count;
            foreach (var inclusion in inclusions.Where(inclusion => round == 0 || inclusion.Iterate))
            {
                if (!await Follow(inclusion, from))
                    return (_included, false);
            }

            from = _included[before..];
        }

        // Something was found in the last round, and perhaps more would be from there.
        return (_included, from.Count == 0 || !inclusions.Any(inclusion => inclusion.Iterate));
    }

    private static string Address(ResourceVersion version) => $"{version.Type}/{version.Id}";

    private async Task<bool> Follow(Inclusion inclusion, IReadOnlyList<ResourceVersion> from)
    {
        var parameters = (inclusion.Parameter is { } one ? [one] : inclusion.From.Parameters.OfType<IndexedParameter.Reference>()).ToList();
        var (names, links) = (
            parameters.Select(parameter => parameter.Name),
            parameters.Select(parameter => parameter.Link).Where(at => at > 0)
        );
        var type = inclusion.From.Number;
        var addresses = new List<string>();
        if (inclusion.Reverse)
        {
            foreach (var group in from.Where(at => inclusion.Target is null || at.Type == inclusion.Target).GroupBy(at => at.Type))
            {
                foreach (var some in group.Chunk(AtOnce))
                {
                    var (target, ids) = (IndexedTypes.NumberOf(group.Key), some.Select(version => version.Id));
                    addresses.AddRange(
                        await Addresses(
                            Pointing,
                            new
                            {
                                type,
                                target,
                                ids,
                                links,
                            }
                        )
                    );
                    addresses.AddRange(
                        await Addresses(
                            PointingAlike,
                            new
                            {
                                type,
                                parameters = names,
                                addresses = some.Select(Address),
                                links,
                            }
                        )
                    );
                }
            }

            return await Add(addresses, null);
        }

        var pointing = from.Where(version => version.Type == inclusion.From.Name).ToList();
        foreach (var some in pointing.Chunk(AtOnce))
        {
            var ids = some.Select(version => version.Id);
            var values = new
            {
                type,
                ids,
                parameters = names,
            };
            addresses.AddRange(
                await connection.QueryAsync<string>(new CommandDefinition(PointedAt, values, snapshot, cancellationToken: stop))
            );
        }

        if (links.Any())
        {
            addresses.AddRange(
                pointing
                    .SelectMany(version => StoredReferences.Of(Encoding.UTF8.GetBytes(version.Json)).Links)
                    .Where(link => links.Contains(link.Parameter))
                    .Select(link => link.Key.Target)
            );
        }

        return await Add(addresses, inclusion.Target);
    }

    private async Task<IEnumerable<string>> Addresses(string sql, object values) =>
        (await connection.QueryAsync<(long Type, string Id)>(new CommandDefinition(sql, values, snapshot, cancellationToken: stop))).Select(
            row => $"{IndexedTypes.NameOf(row.Type)}/{row.Id}"
        );

    private static DynamicParameters WithIds(DynamicParameters values, IReadOnlyList<string> ids, int room)
    {
        var all = new DynamicParameters(values);
        all.AddDynamicParams(new { ids, room });
        return all;
    }

    /// <summary>Adds the resources at some addresses; false when there is no room for all of them.</summary>
    private async Task<bool> Add(IEnumerable<string> addresses, string? only)
    {
        var wanted = addresses
            .Where(address => !_seen.Contains(address))
            .Distinct()
            .Select(address => address.Split('/'))
            .Where(parts => parts.Length == 2 && (only is null || parts[0] == only) && IndexedTypes.Find(parts[0]) is not null)
            .GroupBy(parts => parts[0], parts => parts[1])
            .ToList();
        foreach (var group in wanted)
        {
            var type = IndexedTypes.Find(group.Key)!;
            // What may not be shown is left out as if it were not there, and not counted.
            IReadOnlyList<SearchCriterion>? within = query.Shown is { } shown ? shown(type) : [];
            if (within is null)
                continue;
            var ofType = new SearchQuery(type, within, [], 1);
            var sql = new SearchSql(ofType, await SearchKeys.Of(ofType, connection, snapshot, stop));
            foreach (var ids in group.Order(StringComparer.Ordinal).Chunk(AtOnce))
            {
                var found = await StoredResource.All(
                    connection,
                    snapshot,
                    $"""
                    select {StoredResource.Columns} from {StoredResource.From} and {sql.Conditions} and r.id in @ids
                    order by r.id limit @room
                    """,
                    WithIds(sql.Values, ids, most - _included.Count + 1),
                    stop
                );
                foreach (var version in found)
                {
                    if (_included.Count == most)
                        return false;
                    if (_seen.Add(Address(version)))
                        _included.Add(version);
                }
            }
        }

        return true;
    }
}
