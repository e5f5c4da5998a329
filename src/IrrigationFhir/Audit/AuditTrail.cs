using System.Buffers;
using System.Text.Json;
using IrrigationFhir.Access;
using IrrigationFhir.Model;
using IrrigationFhir.Store;
using NodaTime.Extensions;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Audit;

/// <summary>What somebody was shown.</summary>
/// <param name="Deed">A read, a query, or a disclosure.</param>
/// <param name="How">The interaction, as the code of restful-interaction.</param>
internal sealed record Shown(Deed Deed, string How)
{
    /// <summary>Of a read the resource or what stands for it, as <c>Observation/id/_history/2</c>.</summary>
    public IReadOnlyList<string> Resources { get; init; } = [];

    /// <summary>The episodes whose patients were shown.</summary>
    public IReadOnlyList<string> Episodes { get; init; } = [];

    /// <summary>The patients that were shown, where no episode tells them.</summary>
    public IReadOnlyList<AuditedPatient> Patients { get; init; } = [];

    /// <summary>What was asked.</summary>
    public string? Query { get; init; }

    /// <summary>How it ended.</summary>
    public DeedOutcome Outcome { get; init; }

    /// <summary>Why not, as the code of a problem; null where it was shown.</summary>
    public string? Code { get; init; }
}

/// <summary>Records what is read, and who was refused: before the answer leaves.</summary>
/// <remarks>
/// What is written is recorded in its own transaction (<see cref="AuditSql"/>); a read has none, and waits in <see cref="AuditQueue"/>.
/// </remarks>
internal sealed class AuditTrail(AuditQueue queue, AuditStore store, TimeProvider clock) : IAudit
{
    /// <summary>Of one who is refused, or fails alike, more often than this within a minute the rest is told by one entry.</summary>
    public const int MostRefusals = 100;

    private const int MostRefused = 10_000;
    private const int MostEpisodes = 250;

    [ThreadStatic]
    private static (ArrayBufferWriter<byte> Buffer, Utf8JsonWriter Json)? line;

    private readonly Dictionary<string, Refusals> _refused = [];

    /// <summary>False only where it is measured what recording costs; no setting does that.</summary>
    public bool RecordsReads { get; set; } = true;

    /// <summary>Records what somebody is about to be shown.</summary>
    /// <exception cref="AuditUnavailable">It cannot be recorded: then it is not shown.</exception>
    public void Record(Shown shown) => Record(shown, Actor.Current);

    /// <summary>Records what leaves the service by itself, for somebody.</summary>
    /// <exception cref="AuditUnavailable">It cannot be recorded: then it does not leave.</exception>
    public void Record(Shown shown, Actor by)
    {
        // Of many patients a line tells of some: each becomes an entry when it is stored.
        if (shown.Episodes.Count > MostEpisodes)
        {
            foreach (var some in shown.Episodes.Chunk(MostEpisodes))
                Record(shown with { Episodes = some }, by);
            return;
        }

        var entry = EntryOf(shown, by);
        if (shown.Patients.Count == 0)
            Add(entry);
        foreach (var patient in shown.Patients)
            Add(entry with { Patient = patient });
    }

    /// <summary>Records that a request failed. Whatever becomes of the record, it is answered so.</summary>
    public void Failed(HttpContext http, Shown tried)
    {
        var actor = Requests.ActorOf(http);
        var entry = EntryOf(tried, actor);
        if (Folds($"{actor.Client} {tried.Deed} {tried.Code}", entry))
            return;
        try
        {
            Add(entry);
        }
        catch (AuditUnavailable)
        {
            // That may be the very failure; nothing was shown.
        }
    }

    /// <inheritdoc/>
    public void Refused(HttpContext http, int status, string code)
    {
        var actor = Requests.ActorOf(http);
        var entry = AuditEntry.By(actor, Deed.Refuse, null, Now) with
        {
            Outcome = status >= 500 || status == StatusCodes.Status403Forbidden ? DeedOutcome.Serious : DeedOutcome.Minor,
            Code = code,
        };
        if (Folds(actor.Client == Requests.Nobody ? actor.From ?? "" : actor.Client, entry))
            return;
        try
        {
            Add(entry);
        }
        catch (AuditUnavailable)
        {
            // Nothing was shown: there is nothing to take back.
        }
    }

    /// <inheritdoc/>
    public Task RolesChanged(string code, IReadOnlyList<string> about) =>
        store.Add(AuditEntry.By(Actor.Current, Deed.Roles, null, Now) with { Code = code, Entries = about }, CancellationToken.None);

    /// <summary>Records that a client did what somebody should look at.</summary>
    /// <param name="client">The client.</param>
    /// <param name="code">What, as a code of ours.</param>
    /// <param name="moreThan">More than so many.</param>
    public void Alert(string client, string code, int moreThan)
    {
        try
        {
            Add(AuditEntry.By(new(client, null, null, null, null), Deed.Alert, null, Now) with { Code = code, Times = moreThan });
        }
        catch (AuditUnavailable)
        {
            // It stands in the log and is counted.
        }
    }

    /// <summary>Records that the service started or stopped; where that cannot be recorded just now, it does so all the same.</summary>
    public void Happened(string code)
    {
        try
        {
            Add(AuditEntry.By(Actor.Service, Deed.Run, null, Now) with { Code = code });
        }
        catch (AuditUnavailable)
        {
            // Somebody has to be able to start it, and mend what hinders.
        }
    }

    /// <summary>Tells of refusals of minutes that are over what was not told of each.</summary>
    /// <param name="all">Also of the minute that is not over yet: the service stops.</param>
    /// <exception cref="AuditUnavailable">It cannot be recorded just now.</exception>
    public void TellFolded(bool all)
    {
        var minute = MinuteOf(Now);
        lock (_refused)
        {
            foreach (var (who, refusals) in _refused.Where(pair => all || pair.Value.Minute < minute).ToList())
            {
                if (refusals.Folded > 0)
                    Add(refusals.Last with { Times = refusals.Folded });
                _refused.Remove(who);
            }
        }
    }

    private AuditEntry EntryOf(Shown shown, Actor by) =>
        AuditEntry.By(by, shown.Deed, shown.How, Now) with
        {
            Resources = shown.Resources.Count == 0 ? null : shown.Resources,
            Episodes = shown.Episodes.Count == 0 ? null : shown.Episodes,
            Query = shown.Query is { } asked ? Secrets.LeftOut(asked) : null,
            Outcome = shown.Outcome,
            Code = shown.Code,
        };

    private sealed record Refusals(long Minute, int Count, int Folded, AuditEntry Last);

    private bool Folds(string who, AuditEntry entry)
    {
        var minute = MinuteOf(Now);
        lock (_refused)
        {
            // Who asks under ever new names fills no memory.
            if (!_refused.ContainsKey(who) && _refused.Count >= MostRefused)
                who = "";
            var before = _refused.GetValueOrDefault(who) is { } known && known.Minute == minute ? known : new(minute, 0, 0, entry);
            var folds = before.Count >= MostRefusals;
            _refused[who] = new(minute, before.Count + 1, before.Folded + (folds ? 1 : 0), entry);
            return folds;
        }
    }

    private Instant Now => clock.GetCurrentInstant();

    private static long MinuteOf(Instant at) => at.ToUnixTimeSeconds() / 60;

    private void Add(AuditEntry entry)
    {
        var (buffer, json) = line ??= New();
        buffer.ResetWrittenCount();
        json.Reset(buffer);
        JsonSerializer.Serialize(json, entry, AuditJson.Default.AuditEntry);
        json.Flush();
        buffer.Write("\n"u8);
        queue.Add(buffer.WrittenSpan);
    }

    private static (ArrayBufferWriter<byte> Buffer, Utf8JsonWriter Json) New()
    {
        var buffer = new ArrayBufferWriter<byte>(1024);
        return (buffer, new(buffer));
    }
}
