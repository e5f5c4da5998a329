using System.Data.Common;
using Dapper;
using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>Follows references from the matches of a search, within the snapshot of that search.</summary>
internal sealed class Inclusions(
    DbConnection connection,
    DbTransaction snapshot,
    IReadOnlyList<Inclusion> inclusions,
    int most,
    CancellationToken stop
)
{
    /// <summary>Ids in one statement; well under the number of values a statement may have.</summary>
    public const int AtOnce = 500;

    /// <summary>How often an inclusion that iterates is followed. Chains of derivation here are three long.</summary>
    public const int Rounds = 5;

    /// <summary>Addresses of what points at some addresses.</summary>
    internal const string Pointing = """
        select i.type || '/' || i.id from resource_reference i
        where i.type = @type and i.parameter in @parameters and i.reference in @some and i.reference <> ''
        """;

    /// <summary>Addresses that the resources of some ids point at.</summary>
    /// <remarks>A cross join keeps this order: without statistics SQLite would rather walk over all references of that name.</remarks>
    internal const string PointedAt = """
        select i.reference from resource r cross join resource_reference i
        where r.type = @type and r.id in @some and i.patient_key = r.patient_key and i.type = r.type and i.id = r.id
            and i.parameter in @parameters and i.reference <> ''
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
        var parameters = (inclusion.Parameter is { } one ? [one] : inclusion.From.Parameters.OfType<IndexedParameter.Reference>())
            .Select(parameter => parameter.Name)
            .ToList();
        if (inclusion.Reverse)
        {
            var at = from.Where(version => inclusion.Target is null || version.Type == inclusion.Target).Select(Address).ToList();
            return await Add(Pointing, inclusion.From.Name, parameters, at);
        }

        var ids = from.Where(version => version.Type == inclusion.From.Name).Select(version => version.Id).ToList();
        return await Add(PointedAt, inclusion.From.Name, parameters, ids, inclusion.Target);
    }

    /// <summary>Adds the resources at the addresses that a statement finds; false when there is no room for all of them.</summary>
    private async Task<bool> Add(string sql, string type, List<string> parameters, List<string> values, string? only = null)
    {
        foreach (var some in values.Chunk(AtOnce))
        {
            var addresses = await connection.QueryAsync<string>(
                new CommandDefinition(
                    sql,
                    new
                    {
                        type,
                        parameters,
                        some,
                    },
                    snapshot,
                    cancellationToken: stop
                )
            );
            var wanted = addresses
                .Where(address => !_seen.Contains(address))
                .Distinct()
                .Select(address => address.Split('/'))
                .Where(parts => parts.Length == 2 && (only is null || parts[0] == only) && IndexedTypes.Find(parts[0]) is not null)
                .GroupBy(parts => parts[0], parts => parts[1]);
            foreach (var group in wanted)
            {
                foreach (var ids in group.Order(StringComparer.Ordinal).Chunk(AtOnce))
                {
                    var rows = await connection.QueryAsync<ResourceStore.Stored>(
                        new CommandDefinition(
                            $"select {SearchSql.Columns} from resource r where r.type = @Key and r.id in @ids order by r.id limit @room",
                            new
                            {
                                group.Key,
                                ids,
                                room = most - _included.Count + 1,
                            },
                            snapshot,
                            cancellationToken: stop
                        )
                    );
                    foreach (var row in rows)
                    {
                        if (_included.Count == most)
                            return false;
                        var version = row.ToVersion();
                        if (_seen.Add(Address(version)))
                            _included.Add(version);
                    }
                }
            }
        }

        return true;
    }
}
