using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>A condition for doing without irrigation, and whether it holds.</summary>
/// <param name="Name">What has to hold, with its limit.</param>
/// <param name="Holds">Whether it does; null where nobody can tell.</param>
/// <param name="Since">Since when it holds, or when it last did not; null where that is not known.</param>
/// <param name="Says">What was seen, or why nobody can tell.</param>
/// <param name="Source">What it rests on, and how good that is.</param>
public sealed record WeaningCondition(string Name, bool? Holds, Instant? Since, string Says, string Source);

/// <summary>
/// Which of the site's conditions for weaning hold, since when, and which cannot be told. Whether the irrigation is stopped is for whoever
/// ordered it: nothing here says so.
/// </summary>
/// <remarks>
/// The teaching text asks for light drainage for 12 h, no clots for 12 h, and a haemoglobin that is the same twice (clinical reference,
/// section 7: a checklist, no guideline). That the outflow was free meanwhile is our judgement. The haemoglobin is not charted here, so
/// that condition is never told. Stretches between two looks count as the earlier look was; a look older than
/// <see cref="FlagSettings.WeaningLookedWithin"/> tells nothing of now.
/// </remarks>
public static class WeaningConditions
{
    private const string Haemoglobin = "haemoglobin the same twice";
    private const string Teaching = "teaching text on weaning (a checklist, no guideline)";
    private static readonly string[] OutflowFlags = ["outflow-deficit", "no-drainage"];

    /// <summary>Whether all hold that can be told from what is charted here; false where one does not, or cannot be told.</summary>
    public static bool Hold(FlagRecord record) =>
        Of(record).Where(condition => condition.Name != Haemoglobin).ToList() is { Count: > 0 } told
        && told.TrueForAll(c => c.Holds == true);

    /// <summary>All of them, as they stand at the moment of a record; empty where nothing was ever irrigated.</summary>
    public static IEnumerable<WeaningCondition> Of(FlagRecord record)
    {
        var bedside = record.Now;
        if (!bedside.Lines.Any())
            yield break;
        var hours = FormattableString.Invariant($"{bedside.Settings.WeaningAfter.TotalHours:0.#} h");
        yield return Lasting(bedside, $"light drainage for {hours}", look => IsLight(look, bedside.Settings), "how dark the drainage is");
        yield return Lasting(
            bedside,
            $"no clots for {hours}",
            look => Looked.Clots(look) is { } clots ? clots == 0 : null,
            "whether there are clots"
        );
        yield return FreeOutflow(record, $"free outflow for {hours}");
        yield return new(Haemoglobin, null, null, "the haemoglobin is not charted here: ask the laboratory", Teaching);
    }

    /// <summary>Whether drainage is light: by the grade where the look has one, else by its words; null where they do not tell.</summary>
    internal static bool? IsLight(DrainageAppearance look, FlagSettings settings)
    {
        if (look.Grade is { } grade)
            return grade <= settings.WeaningGrade;
        if (look.Colour is not { } colour)
            return null;
        if (Irrigants.Named(colour, "red", "dark", "brown", "rose", "cherry", "ketchup", "burgundy"))
            return false;
        return Irrigants.Named(colour, "clear", "straw", "pale", "yellow", "light pink") ? true : null;
    }

    /// <summary>What every look since the time began says, and says still.</summary>
    private static WeaningCondition Lasting(Bedside bedside, string name, Func<DrainageAppearance, bool?> tells, string what)
    {
        Instant? since = null;
        (DrainageAppearance Look, bool Is)? latest = null;
        foreach (var look in Looked.Before(bedside, bedside.At + Duration.Epsilon))
        {
            if (tells(look) is not { } holds)
                continue;
            latest ??= (look, holds);
            if (!holds)
                break;
            since = look.At;
        }

        var within = FormattableString.Invariant($"{bedside.Settings.WeaningLookedWithin.TotalHours:0.#} h");
        if (latest is not { } last)
            return new(name, null, null, $"nobody charted {what}", Teaching);
        var seen = $"{Looked.Says(last.Look)} at {bedside.Said(last.Look.At)}";
        if (!last.Is)
            return new(name, false, last.Look.At, seen, Teaching);
        if (bedside.At - last.Look.At > bedside.Settings.WeaningLookedWithin)
            return new(name, null, since, $"nobody charted {what} in the last {within}: {seen}", Teaching);
        var from = since ?? last.Look.At;
        return bedside.At - from >= bedside.Settings.WeaningAfter
            ? new(name, true, from, $"so since {bedside.Said(from)}", Teaching)
            : new(name, false, from, $"so only since {bedside.Said(from)}", Teaching);
    }

    private static WeaningCondition FreeOutflow(FlagRecord record, string name)
    {
        const string source = "our judgement: a catheter that was just blocked is not to be left without irrigation";
        var bedside = record.Now;
        foreach (var slug in OutflowFlags)
        {
            if (bedside.Standing(slug) is { } stands)
                return new(name, false, stands.Start, $"{FlagRules.InWords(slug)} stands since {bedside.Said(stands.Start)}", source);
        }

        if (bedside.Latest is null || bedside.Standing(DrainageReadingStale.Rule.Slug) is not null)
            return new(name, null, null, "the drainage is not read", source);
        var flag = record.Ended.Where(ended => OutflowFlags.Contains(ended.Slug)).Max(ended => ended.End);
        var washout = bedside.Last<WashoutPerformed>()?.At;
        var free = new[] { flag, washout, bedside.Log.Frame.Start }.Max()!.Value;
        var why =
            free == washout ? $"a washout was performed at {bedside.Said(free)}"
            : free == flag ? $"an outflow flag ended at {bedside.Said(free)}"
            : $"irrigated since {bedside.Said(free)}";
        return new(name, bedside.At - free >= bedside.Settings.WeaningAfter, free, why, source);
    }
}
