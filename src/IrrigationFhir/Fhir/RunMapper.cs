using Hl7.Fhir.Model;
using Irrigation;
using Irrigation.Episodes;
using Irrigation.Runs;
using IrrigationFhir.Model;
using Instant = NodaTime.Instant;

namespace IrrigationFhir.Fhir;

/// <summary>
/// Each run of cycles as a Procedure that is part of the episode's, and the Observations of its cycles as part of that.
/// </summary>
internal sealed class RunMapper(Vocabulary vocabulary)
{
    private Profiles Profiles { get; } = vocabulary.Profiles;
    private Codes Codes { get; } = vocabulary.Codes;
    private EntryMapper EntryMapper { get; } = new(vocabulary);

    /// <summary>The id of a run's Procedure: by its first aliquot, so that it stays when the run goes on.</summary>
    public static string IdOf(Episode episode, RunOfCycles run) => FhirValues.EntryId(episode.Id, "irrigation-run", run.First.Key);

    /// <summary>
    /// What of the runs an append, or another description, changes: Procedures, those withdrawn too, and Observations whose run is another
    /// than before. Those that are published anyway are told which run they are part of.
    /// </summary>
    /// <param name="before">The episode before.</param>
    /// <param name="after">The episode as it is now.</param>
    /// <param name="published">What is published for other reasons.</param>
    public IEnumerable<Resource> With(Episode before, Episode after, IEnumerable<Resource> published)
    {
        if (before.Log[Channel.Aliquot].Count == 0 && after.Log[Channel.Aliquot].Count == 0)
            return published;
        return [.. Changed(before, after, [.. published])];
    }

    private IEnumerable<Resource> Changed(Episode before, Episode after, List<Resource> published)
    {
        var (was, now) = (Runs(before), Runs(after));
        var (partWas, partIs) = (Parts(before, was), Parts(after, now));
        var ids = partIs.ToDictionary(part => EntryMapper.IdOf(after, part.Key)!, part => part.Value);
        foreach (var resource in published)
        {
            if (resource is Observation observation && ids.TryGetValue(observation.Id!, out var run) && !IsWithdrawn(observation))
                observation.PartOf = PartOf(after, run);
            yield return resource;
        }

        var already = published.Select(resource => resource.Id).ToHashSet();
        foreach (var entry in partWas.Keys.Union(partIs.Keys))
        {
            var stands = partIs.GetValueOrDefault(entry);
            if (stands == partWas.GetValueOrDefault(entry) || after.Log.Current(entry.Key)?.Entry != entry)
                continue;
            var status = EntryMapper.StatusOf(after, entry);
            if (already.Contains(EntryMapper.IdOf(after, entry)) || EntryMapper.ToObservation(entry, after, status) is not { } again)
                continue;
            again.PartOf = PartOf(after, stands);
            yield return again;
        }

        var old = was.ToDictionary(run => IdOf(before, run), run => ToProcedure(run, before, withdrawn: false));
        foreach (var run in now)
        {
            var procedure = ToProcedure(run, after, withdrawn: false);
            if (!old.Remove(procedure.Id!, out var same) || !same.IsExactly(procedure))
                yield return procedure;
        }

        foreach (var gone in was.Where(run => old.ContainsKey(IdOf(before, run))))
            yield return ToProcedure(gone, before, withdrawn: true);
    }

    /// <summary>The irrigation of the episode first, as on every Observation, and the run.</summary>
    private static List<ResourceReference> PartOf(Episode episode, string? run) =>
        run is null ? [BladderIrrigationMapper.Whole(episode)] : [BladderIrrigationMapper.Whole(episode), new($"Procedure/{run}")];

    /// <summary>A run's Procedure.</summary>
    public Procedure ToProcedure(RunOfCycles run, Episode episode, bool withdrawn)
    {
        var zone = episode.Definition.Frame.Zone;
        return new()
        {
            Id = IdOf(episode, run),
            Meta = new() { Profile = [Profiles.BladderIrrigation] },
            Text = Narratives.Of(Codes.Display("irrigation-kind", run.Method), [Says(run)]),
            Identifier = run.Name is { } name ? [new($"{Profiles.CanonicalBase}/NamingSystem/run", $"{run.First.Key.Source}/{name}")] : [],
            PartOf = [BladderIrrigationMapper.Whole(episode)],
            Status =
                withdrawn ? EventStatus.EnteredInError
                : !run.IsOver ? EventStatus.InProgress
                : run.Outcome == RunOutcome.EndedOtherwise ? EventStatus.Stopped
                : EventStatus.Completed,
            StatusReason = run.Outcome == RunOutcome.EndedOtherwise ? new() { Text = run.Why } : null,
            Code = Codes.IrrigationProcedure(run.Method),
            Subject = FhirValues.Reference(episode.Definition.Patient),
            Encounter = episode.Definition.Encounter is { } encounter ? FhirValues.Reference(encounter) : null,
            Performed = new Hl7.Fhir.Model.Period
            {
                Start = FhirValues.Time(run.Start, zone),
                End = run.IsOver ? FhirValues.Time(run.End, zone) : null,
            },
            BasedOn = run.Order?.Order is { } order ? [FhirValues.Named(order)!] : [],
            Performer = [.. Performers(run)],
            BodySite = [Codes.Bladder()],
            Outcome = run.IsOver ? Codes.RunOutcome(run.Outcome == RunOutcome.NotSaid ? null : Slug.Of(run.Outcome), run.Why) : null,
            Complication = run.Cycles.Any(cycle => cycle.Borne?.Spasm == true) ? [Codes.BladderSpasm()] : [],
            UsedCode = [.. new[] { run.Solution, run.Additive }.OfType<string>().Select(Codes.Irrigant)],
            Note = [new() { Text = run.Back is null ? $"{BackUnknown}; {Found(run)}." : $"{Found(run)}." }],
            Extension = [.. Account(run, episode), .. run.Cycles.Select(cycle => Cycle(cycle, zone))],
        };
    }

    private static IEnumerable<Procedure.PerformerComponent> Performers(RunOfCycles run) =>
        run
            .Cycles.SelectMany(cycle => cycle.Given)
            .Select(given => given.Header.Performer)
            .OfType<string>()
            .Distinct()
            .Select(performer => new Procedure.PerformerComponent { Actor = FhirValues.Named(performer)! });

    /// <summary>The sums of a run as far as it went, and what it looked like and how it was borne last.</summary>
    private IEnumerable<Extension> Account(RunOfCycles run, Episode episode)
    {
        List<Extension> parts =
        [
            new("time", FhirValues.Period(run.Start, run.End, episode.Definition.Frame.Zone)),
            new("instilled", FhirValues.Quantity(run.In.Charted)),
        ];
        if (run.Back is { } back)
            parts.Add(new("drained", FhirValues.Quantity(back.Charted)));
        if (run.LastLook is { } look && EntryMapper.IdOf(episode, look) is { } looked)
            parts.Add(new("appearance", new ResourceReference($"Observation/{looked}")));
        if (run.Cycles.Select(cycle => cycle.Borne).OfType<ToleranceNoted>().LastOrDefault() is { } borne)
            parts.Add(new("tolerance", new ResourceReference($"Observation/{EntryMapper.IdOf(episode, borne)}")));
        return [new() { Url = Profiles.IrrigationAccount, Extension = parts }];
    }

    private Extension Cycle(Cycle cycle, NodaTime.DateTimeZone zone)
    {
        List<Extension> parts =
        [
            new("number", new PositiveInt(cycle.Number)),
            new("at", new FhirDateTime(FhirValues.Time(cycle.Start, zone))),
            new("instilled", FhirValues.Quantity(cycle.In.Charted)),
        ];
        if (cycle.Back is { } back)
            parts.Add(new("returned", FhirValues.Quantity(back.Charted)));
        if (cycle.ReturnFrom != cycle.Number)
            parts.Add(new("return-from", new PositiveInt(cycle.ReturnFrom)));
        if (cycle.Shortfall is { } missing)
            parts.Add(new("shortfall", FhirValues.Quantity(missing.Charted)));
        if (cycle.Shortfall95 is { } range)
        {
            parts.Add(
                new(
                    "shortfall-interval",
                    new Hl7.Fhir.Model.Range { Low = FhirValues.Quantity(range.Low), High = FhirValues.Quantity(range.High) }
                )
            );
        }

        if (cycle.Stayed is { } stayed)
            parts.Add(new("stayed", Codes.Quantity(FhirValues.Number((decimal)stayed.TotalMinutes), Codes.Units.Minute)));
        return new() { Url = Profiles.IrrigationCycle, Extension = parts };
    }

    private static string Says(RunOfCycles run) =>
        $"{run.Cycles.Length} {(run.Cycles.Length == 1 ? "cycle" : "cycles")}, {run.In.Charted} in, "
        + $"{(run.Back is { } back ? $"{back.Charted} back" : BackUnknown)}; {run.Why}; {Found(run)}.";

    private const string BackUnknown = "what came back is not known in full";

    private static string Found(RunOfCycles run) => run.Found == FoundBy.Name ? "named by the sender" : "found by time";

    private static bool IsWithdrawn(Observation observation) => observation.Status == ObservationStatus.EnteredInError;

    /// <summary>As far as the log goes: whether a run is over is known when something else shows it, and no clock is read here.</summary>
    private static IReadOnlyList<RunOfCycles> Runs(Episode episode) => RunsOfCycles.Of(episode.Balance, Last(episode));

    private static Instant Last(Episode episode)
    {
        var everything = episode.Log[Channel.Everything];
        return episode.Definition.Frame.End
            ?? (everything.Count == 0 ? episode.Definition.Frame.Start : everything[everything.Count - 1].At);
    }

    /// <summary>Entries that are published as Observations, with the id of the run that they are part of.</summary>
    private static Dictionary<Entry, string> Parts(Episode episode, IReadOnlyList<RunOfCycles> runs)
    {
        var parts = new Dictionary<Entry, string>();
        foreach (var run in runs)
        {
            foreach (var cycle in run.Cycles)
            {
                Entry?[] entries = [.. cycle.Given, .. cycle.Returns, cycle.Looked, cycle.Borne];
                foreach (var entry in entries.OfType<Entry>().Where(entry => EntryMapper.IdOf(episode, entry) is not null))
                    parts.TryAdd(entry, IdOf(episode, run));
            }
        }

        return parts;
    }
}
