using Hl7.Fhir.Model;
using Irrigation.Flags;
using IrrigationFhir.Model;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Fhir;

/// <summary>A flag as a Flag: active while it stands, inactive once it ended, entered in error where it was never so.</summary>
internal sealed class FlagMapper(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;
    private Codes Codes { get; } = vocabulary.Codes;

    /// <summary>The id of a flag: episode, rule, and the moment at which it was raised.</summary>
    public static string IdOf(Episode episode, FlagPeriod flag) => FhirValues.WindowId(episode.Id, flag.Slug, 'f', flag.Start);

    /// <summary>The resource.</summary>
    /// <param name="flag">The flag.</param>
    /// <param name="episode">Whose.</param>
    /// <param name="withdrawnBy">What shows that it was never so; null where nothing does.</param>
    public Flag ToFlag(FlagPeriod flag, Episode episode, Cause? withdrawnBy = null)
    {
        var (rule, zone) = (FlagRules.Find(flag.Slug)!, episode.Definition.Frame.Zone);
        var (id, statement) = (IdOf(episode, flag), Statement(flag, rule, episode, withdrawnBy));
        return new()
        {
            Id = id,
            Text = Narratives.Of(rule.Title, [statement]),
            Meta = new() { Profile = [Profiles.IrrigationFlag] },
            Status =
                withdrawnBy is not null ? Flag.FlagStatus.EnteredInError
                : flag.End is null ? Flag.FlagStatus.Active
                : Flag.FlagStatus.Inactive,
            Category = [Codes.FlagCategory(Irrigation.Slug.Of(rule.Category))],
            Code = Codes.Flag(flag.Slug, rule.Title),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Period = new() { Start = FhirValues.Time(flag.Start, zone), End = flag.End is { } end ? FhirValues.Time(end, zone) : null },
            Author = FhirValues.Service(Profiles),
            Extension = [.. Extensions(flag, id, episode, statement)],
        };
    }

    /// <summary>A flag that stands in the store and not by the settings in force: it ends now.</summary>
    public Flag Ended(Flag standing, Episode episode, Instant now)
    {
        standing.Meta = new() { Profile = [Profiles.IrrigationFlag] };
        standing.Status = Flag.FlagStatus.Inactive;
        standing.Period!.End = FhirValues.Time(now, episode.Definition.Frame.Zone);
        // Versions of the service before flags had a statement put it into the text of their code.
        var said = StatementOf(standing, Profiles) ?? standing.Code!.Text;
        var slug = standing.Code!.Coding[0].Code!;
        standing.Code.Text = FlagRules.Find(slug)?.Title ?? standing.Code.Coding[0].Display;
        standing.Author = FhirValues.Service(Profiles);
        if (FlagRules.Find(slug) is { } rule)
            standing.Category = [Codes.FlagCategory(Irrigation.Slug.Of(rule.Category))];
        standing.Extension.RemoveAll(extension => extension.Url == Profiles.FlagStatement || extension.Url == Profiles.PartOfIrrigation);
        var statement = $"Cleared: by the settings in force now it would not be raised. It had said: {said}";
        standing.Extension.InsertRange(0, Own(statement, episode));
        standing.Text = Narratives.Of(standing.Code.Text ?? slug, [statement]);
        return standing;
    }

    /// <summary>Why a flag was withdrawn, and by whom; null where time alone passed.</summary>
    public Provenance? ToProvenance(FlagPeriod withdrawn, Episode episode, Cause cause) =>
        cause switch
        {
            Cause.EntriesArrived { Entries: [_, ..] because } => ToProvenance(
                withdrawn,
                episode,
                because.Max(entry => entry.ReceivedAt),
                $"{Sentence(cause)}: {string.Join(", ", because.Select(entry => entry.Entry.Key).Distinct().Take(20))}.",
                CorrectionMapper.Agent(because[^1].Entry)
            ),
            Cause.DescribedOtherwise described => ToProvenance(
                withdrawn,
                episode,
                described.At,
                $"{Sentence(cause)}.",
                // Who amended the description is not said in it.
                new() { Type = Codes.Agent("assembler"), Who = FhirValues.Service(Profiles) }
            ),
            _ => null,
        };

    private static string Sentence(Cause cause) => $"{char.ToUpperInvariant(cause.Shows[0])}{cause.Shows[1..]} that it was never so";

    private Provenance ToProvenance(
        FlagPeriod withdrawn,
        Episode episode,
        Instant recorded,
        string reason,
        Provenance.AgentComponent agent
    ) =>
        new()
        {
            Id = $"{IdOf(episode, withdrawn)}.w",
            Meta = new() { Profile = [Profiles.Correction] },
            Extension = [BladderIrrigationMapper.PartOf(episode, Profiles)],
            Target = [new($"Flag/{IdOf(episode, withdrawn)}")],
            Recorded = recorded.ToDateTimeOffset(),
            Activity = Codes.Nullified(),
            Reason = [new() { Text = reason }],
            Agent = [agent],
            Entity = [new() { Role = Provenance.ProvenanceEntityRole.Revision, What = new($"Flag/{IdOf(episode, withdrawn)}") }],
        };

    private static string Statement(FlagPeriod flag, FlagRule rule, Episode episode, Cause? withdrawnBy)
    {
        var urgent = flag.Latest.Priority == FlagPriority.Urgent ? "Urgent: " : "";
        var said =
            $"{urgent}{flag.Latest.Says} "
            + $"{rule.Caution}{(rule.Caution.Contains(Cautions.Prompt, StringComparison.Ordinal) ? "" : $" {Cautions.Prompt}")}";
        if (withdrawnBy is not null)
            return $"Withdrawn: {withdrawnBy.Shows} that it was never so. It had said: {said}";
        return flag.End is { } end
            ? $"Cleared at {FhirValues.Time(end, episode.Definition.Frame.Zone)}: {flag.Ended}. It had said: {said}"
            : said;
    }

    /// <summary>What a flag says; null of one that an earlier version of the service published.</summary>
    public static string? StatementOf(Flag flag, Profiles profiles) =>
        (flag.Extension.Find(extension => extension.Url == profiles.FlagStatement)?.Value as FhirString)?.Value;

    private IEnumerable<Extension> Own(string statement, Episode episode) =>
        [new(Profiles.FlagStatement, new FhirString(statement)), BladderIrrigationMapper.PartOf(episode, Profiles)];

    private IEnumerable<Extension> Extensions(FlagPeriod flag, string id, Episode episode, string statement)
    {
        foreach (var own in Own(statement, episode))
            yield return own;
        yield return new(Profiles.CoreFlagPriority, Codes.FlagPriority(Irrigation.Slug.Of(flag.Latest.Priority)));
        foreach (var address in flag.Latest.Evidence.Select(e => Address(e, episode)).OfType<string>().Distinct())
            yield return new(Profiles.CoreFlagDetail, new ResourceReference(address));
        if (FlagRecord.Acknowledged(episode.Log, flag, id) is { } seen)
        {
            yield return new(Profiles.FlagAcknowledged, new FhirDateTime(FhirValues.Time(seen.At, episode.Definition.Frame.Zone)));
            yield return new(
                Profiles.FlagTimeToAcknowledge,
                Codes.Quantity(FhirValues.Number((decimal)(seen.At - flag.Start).TotalMinutes), Codes.Units.Minute)
            );
        }
    }

    private static string? Address(Irrigation.Flags.Evidence evidence, Episode episode)
    {
        if (evidence.IntervalEnd is { } end)
            return $"Observation/{CorrectedUrineOutputMapper.IdOfInterval(episode, end)}";
        return evidence.Entry is { } key && episode.Log.Current(key)?.Entry is { } entry && EntryMapper.IdOf(episode, entry) is { } id
            ? $"Observation/{id}"
            : null;
    }
}
