using System.ComponentModel;
using System.Globalization;
using Irrigation;
using Irrigation.Flags;
using Irrigation.Measures;
using Irrigation.Runs;
using IrrigationFhir.Fhir;
using IrrigationFhir.Rest;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Episodes;

/// <summary>An intermittent or open irrigation, or a manual washout: a run of cycles.</summary>
internal sealed record RunReport(
    [property: Description("As the sender calls it; absent where nobody named it.")] string? Name,
    [property: Description("How it was found: by name, or by time."), WordsOf(typeof(FoundBy))] string FoundBy,
    [property: Description("How it was done, as ordered or as charted.")] string Method,
    [property: Description("When the first of it was instilled.")] string Start,
    [property: Description("The last that happened in it.")] string End,
    [property: Description("What was instilled; absent where nobody said.")] string? Solution,
    [property: Description("What was added; absent where nothing was, or nobody said.")] string? Additive,
    [property: Description("Whether irrigant ran continuously beside it. Then the intervals are the one account of all of it.")]
        bool BesideContinuousFlow,
    [property: Description("Its cycles, in the order of time.")] IReadOnlyList<CycleReport> Cycles,
    [property: Description("What was instilled in all.")] Amount Instilled,
    [property: Description("What came back in all; absent where that is not known in full.")] Amount? Returned,
    [property: Description("What did not come back in all, with its interval; below 0 what came back beyond, which is urine.")]
        ShortfallReport? Shortfall,
    [property: Description("What the first return looked like; absent where nobody said.")] string? FirstReturn,
    [property: Description("What the last return looked like; absent where nobody said.")] string? LastReturn,
    [property: Description("What came of it."), WordsOf(typeof(RunOutcome))] string Outcome,
    [property: Description("What the outcome rests on.")] string Why,
    [property: Description("All of it in words.")] string InWords
)
{
    private static readonly LocalTimePattern Clock = LocalTimePattern.CreateWithInvariantCulture("HH:mm");

    /// <summary>The report of a run.</summary>
    public static RunReport Of(RunOfCycles run, DateTimeZone zone) =>
        new(
            run.Name,
            Slug.Of(run.Found),
            run.Method,
            FhirValues.Time(run.Start, zone),
            FhirValues.Time(run.End, zone),
            run.Solution,
            run.Additive,
            run.BesideFlow,
            [.. run.Cycles.Select(cycle => CycleReport.Of(cycle, zone))],
            Amount.Of(run.In.Charted)!,
            Amount.Of(run.Back?.Charted),
            ShortfallReport.Of(run.Shortfall),
            Look(run.FirstLook),
            Look(run.LastLook),
            Slug.Of(run.Outcome),
            run.Why,
            string.Join(' ', Lines(run, zone))
        );

    /// <summary>A run in words: a sentence for the whole, and one for each cycle.</summary>
    public static IEnumerable<string> Lines(RunOfCycles run, DateTimeZone zone)
    {
        string Said(Instant at) => Clock.Format(at.InZone(zone).TimeOfDay);
        var name = run.Name is { } named ? $" '{named}'" : "";
        var beside = run.BesideFlow ? ", beside continuous irrigation" : "";
        var found = run.Found == Irrigation.Runs.FoundBy.Name ? "as the entries name it" : "found by time";
        var count = run.Cycles.Length == 1 ? "1 cycle" : string.Create(CultureInfo.InvariantCulture, $"{run.Cycles.Length} cycles");
        var sums =
            run.Back is { } back ? $"{run.In.Charted} in, {back.Charted} back"
            : run.Cycles.Any(cycle => cycle.Clamped && cycle.Stayed is null) ? $"{run.In.Charted} in, held behind the clamp"
            : $"{run.In.Charted} in, what came back not known in full";
        var how = $"{Words.Of(run.Method)}{beside}, {found}";
        yield return $"Irrigation{name} of {Said(run.Start)} ({how}): {count}, {sums}; {run.Why}.";
        foreach (var cycle in run.Cycles)
        {
            string?[] said =
            [
                $"{cycle.In.Charted} in at {Said(cycle.Start)}",
                CameBack(run, cycle),
                cycle.Leaked is { } leaked ? $"{leaked} of it beside the catheter" : null,
                cycle.Stayed is { } stayed ? FormattableString.Invariant($"stayed {stayed.TotalMinutes:0.#} min") : null,
                Look(cycle.Looked),
                cycle.Borne is null ? null : Borne(cycle),
                .. cycle.Marks.Select(mark => Words.Of(mark)),
            ];
            yield return $"Cycle {cycle.Number}: {string.Join("; ", said.OfType<string>())}.";
        }
    }

    private static string CameBack(RunOfCycles run, Cycle cycle)
    {
        if (cycle is { Back: { } back, Shortfall: { } missing, Shortfall95: { } range })
        {
            var of = cycle.ReturnFrom == cycle.Number ? "" : $" of cycles {cycle.ReturnFrom} to {cycle.Number}";
            return missing.Charted > Volume.Zero
                ? $"{back.Charted} back{of}, {missing.Charted} short (95 % {AsRead.Range(range)})"
                : $"{back.Charted} back{of}, {Volume.Zero - missing.Charted} beyond it "
                    + $"(95 % {AsRead.Range(new(Volume.Zero - range.High, Volume.Zero - range.Low))})";
        }

        return run.Unreturned.Contains(cycle) ? "what came back is not charted" : "came back with a later cycle";
    }

    private static string Borne(Cycle cycle) =>
        string.Join(
            ", ",
            new[]
            {
                cycle.Borne!.Pain is { } pain ? $"pain {pain} of 10" : null,
                cycle.Borne.Spasm == true ? "spasm" : null,
                cycle.Borne.Tolerated == false ? "not tolerated" : null,
            }
                .OfType<string>()
                .DefaultIfEmpty("borne well")
        );

    private static string? Look(Irrigation.Episodes.DrainageAppearance? look)
    {
        if (look is null)
            return null;
        string?[] said = [Looked.Says(look), look.Clarity, look.Sediment == true ? "sediment" : null];
        var words = string.Join(", ", said.Where(text => !string.IsNullOrEmpty(text)));
        return words.Length == 0 ? null : words;
    }
}

/// <summary>One cycle: instilled, held, returned.</summary>
internal sealed record CycleReport(
    [property: Description("From 1.")] int Number,
    [property: Description("How it was found: by name, or by time."), WordsOf(typeof(FoundBy))] string FoundBy,
    [property: Description("When the first of it was instilled.")] string Start,
    [property: Description("What was instilled.")] Amount Instilled,
    [property: Description("What came back; absent where no return was charted for this cycle, which is not 0.")] Amount? Returned,
    [property: Description("The first of the cycles that this return is of; its own number where it stands alone.")] int ReturnFrom,
    [property: Description("The part of the return that leaked beside the catheter; absent where none was charted.")] Amount? Leaked,
    [property: Description("What did not come back, with its interval; below 0 what came back beyond, which is urine.")]
        ShortfallReport? Shortfall,
    [property: Description("For how many minutes it stayed; absent while that is not known.")] decimal? StayedMinutes,
    [property: Description("Whether the drain was clamped meanwhile.")] bool Clamped,
    [property: Description("What to know of what was given."), WordsOf(typeof(AliquotMark))] IReadOnlyList<string> Marks,
    [property: Description("The entries that gave it, source/id.")] IReadOnlyList<string> Entries
)
{
    /// <summary>The report of a cycle.</summary>
    public static CycleReport Of(Cycle cycle, DateTimeZone zone) =>
        new(
            cycle.Number,
            Slug.Of(cycle.Found),
            FhirValues.Time(cycle.Start, zone),
            Amount.Of(cycle.In.Charted)!,
            Amount.Of(cycle.Back?.Charted),
            cycle.ReturnFrom,
            Amount.Of(cycle.Leaked),
            ShortfallReport.Of(cycle.Shortfall),
            cycle.Stayed is { } stayed ? FhirValues.Number((decimal)stayed.TotalMinutes) : null,
            cycle.Clamped,
            [.. cycle.Marks.Select(mark => Slug.Of(mark))],
            [.. cycle.Given.Select(given => given.Key).Concat(cycle.Returns.Select(reading => reading.Key)).Select(key => key.ToString())]
        );
}

/// <summary>What did not come back, with its doubts.</summary>
internal sealed record ShortfallReport(
    [property: Description("As charted; below 0 what came back beyond.")] Amount AsCharted,
    [property: Description("The best estimate.")] Amount BestEstimate,
    [property: Description("Its 95 % interval.")] RangeReport Interval95
)
{
    /// <summary>The report of a shortfall; null where it is not known.</summary>
    public static ShortfallReport? Of(Measured? missing)
    {
        if (missing is not { } known)
            return null;
        var range = RunOfCycles.Interval(known);
        return new(Amount.Of(known.Charted)!, Amount.Of(known.Best)!, new(Amount.Of(range.Low)!, Amount.Of(range.High)!));
    }
}
