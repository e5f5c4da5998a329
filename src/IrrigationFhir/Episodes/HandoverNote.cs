using System.Globalization;
using System.Text;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using Irrigation.Runs;
using IrrigationFhir.Fhir;
using IrrigationFhir.Model;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Episodes;

/// <summary>
/// A handover as a nurse gives it: who, what is wrong now and what to do first, then the rest; each thing once, and amounts as they are
/// read. The long form, section by section, is <see cref="Handover"/>.
/// </summary>
internal static class HandoverNote
{
    private static readonly OffsetDateTimePattern Moment = OffsetDateTimePattern.CreateWithInvariantCulture("d MMM uuuu HH:mm");

    private const int SentencesOfCaution = 3;
    private const int DueWhenUrgent = 2;

    /// <summary>Cautions that say how to read and nothing to do.</summary>
    private static readonly string[] Explains =
    [
        Cautions.MissingIsNotZero,
        Cautions.Colour,
        Cautions.NotAbsorption,
        Cautions.Graduations,
        Cautions.Prompt,
    ];

    /// <summary>What only time brings, or another flag's end: nobody can change it now.</summary>
    private static readonly string[] NothingToDo = ["readings that cover the window", "to be cleared", "a criterion for this age"];

    /// <summary>The note.</summary>
    public static string Of(Handover handover)
    {
        var (episode, flags, bedside) = (handover.Episode, handover.Flags, handover.Flags.Now);
        var text = new StringBuilder();
        var now = Moment.Format(flags.AsOf.InZone(episode.Definition.Frame.Zone).ToOffsetDateTime());
        text.Append(CultureInfo.InvariantCulture, $"HANDOVER, {now}\n");
        void Say(string title, IEnumerable<string> lines)
        {
            var said = lines.ToList();
            for (var i = 0; i < said.Count; i++)
                text.Append(CultureInfo.InvariantCulture, $"{(i == 0 ? title : ""), -12} {said[i]}\n");
        }

        Say("PATIENT", Patient(episode.Definition));
        Say("NOW", Now(episode, flags));
        Say("CATHETER", Catheter(bedside));
        Say("IRRIGATION", Irrigation(flags));
        var urgent = IsUrgent(flags);
        Say("OUTPUT", Output(bedside, urgent));
        Say("LOOKS", Looks(bedside));
        if (bedside.Standing(PoorlyTolerated.Rule.Slug) is null)
            Say("BORNE", handover.Sections.Single(section => section.Slug == "comfort").Lines);
        Say("DUE", Due(bedside, urgent ? DueWhenUrgent : int.MaxValue));
        Say("ORDER", handover.Sections.Single(section => section.Slug == "order").Lines);
        Say("CALL", handover.Sections.Single(section => section.Slug == "contact").Lines);
        Say("MISSING", Missing(bedside));
        if (!urgent)
            Say("NOT KNOWN", NotKnown(flags));
        Say("", [Cautions.Prompt]);
        return text.ToString();
    }

    private static IEnumerable<string> Patient(EpisodeDefinition definition)
    {
        string?[] who =
        [
            definition.Patient.Display,
            definition.BirthDate is { } born ? $"born {LocalDatePattern.Iso.Format(born)}" : "date of birth not on record",
            definition.Patient.Identifier?.Value ?? definition.Patient.Reference,
            definition.Location?.Says ?? "no bed on record",
        ];
        yield return Words.Capital($"{string.Join(", ", who.OfType<string>())}.");
        yield return definition.Reason is { } reason ? $"Irrigated for {reason}." : "Why the bladder is irrigated is not on record.";
        List<string> risks =
        [
            .. definition.SpinalLevel is { } level
                ? [$"spinal cord injury at {level}: ask for headache and sweating, take the pressure"]
                : Array.Empty<string>(),
            .. definition.BaselineSystolic is { } usual ? [$"usual systolic pressure {usual}"] : Array.Empty<string>(),
            .. definition.Risks,
        ];
        yield return risks.Count == 0 ? "No risks are on record." : $"Risks: {string.Join("; ", risks)}.";
    }

    private static IEnumerable<string> Now(Episode episode, FlagRecord flags)
    {
        var standing = flags.Standing.OrderByDescending(flag => flag.Latest.Priority).ThenBy(flag => flag.Start).ToList();
        if (standing.Count == 0)
            yield return "No flag stands.";
        var first = standing.FirstOrDefault(flag => flag.Latest.Priority >= FlagPriority.Medium && SaysWhatToDo(flag));
        var said = new SaidOnce();
        var told = standing.Where(flag => flag.Latest.Priority >= FlagPriority.Medium && !RestsOnWhatIsTold(flag, standing)).ToList();
        foreach (var flag in told)
        {
            var seen = FlagRecord.Acknowledged(episode.Log, flag, FlagMapper.IdOf(episode, flag)) is { } by
                ? $"seen {flags.Now.Said(by.At)}"
                : "not seen";
            var title = FlagRules.Find(flag.Slug)!.Title;
            yield return $"{Slug.Of(flag.Latest.Priority).ToUpperInvariant()} {title}, since {flags.Now.Said(flag.Start)}, {seen}. "
                + said.Of(Words.Capital(WithoutLooks(flag)), flag == told[0] ? null : 1);
            if (flag.Latest.Priority < FlagPriority.High && flag != first)
                continue;
            var caution = FlagRules.Find(flag.Slug)!.Caution;
            if (
                !SaysWhatToDo(flag)
                || (flag != first && FlagRules.Find(first!.Slug)!.Caution.StartsWith(Cautions.Outflow, StringComparison.Ordinal))
            )
                continue; // a blocked outflow comes before all else
            if (said.Of(caution, flag == first ? SentencesOfCaution : 1) is { Length: > 0 } toDo)
                yield return $"{(flag == first ? "First" : "Then")}: {toDo}";
        }

        var low = standing.Except(told).Where(flag => flag.Slug != RecordIncomplete.Rule.Slug).ToList(); // that is told as missing
        if (low.Count > 0)
            yield return $"Also: {string.Join("; ", low.Select(flag => $"{Title(flag)} since {flags.Now.Said(flag.Start)}"))}.";

        static bool SaysWhatToDo(FlagPeriod flag) =>
            !Explains.Any(explains => FlagRules.Find(flag.Slug)!.Caution.StartsWith(explains, StringComparison.Ordinal));

        static string Title(FlagPeriod flag) => $"{(flag.Latest.Possible ? "possibly " : "")}{FlagRules.InWords(flag.Slug)}";
    }

    /// <summary>What a flag says, but for the look before: the looks are told as a trend.</summary>
    private static string WithoutLooks(FlagPeriod flag) =>
        flag.Slug == BleedingWorse.Rule.Slug && flag.Latest.Says.IndexOf(", after ", StringComparison.Ordinal) is var after and > 0
            ? $"{flag.Latest.Says[..after]}."
            : flag.Latest.Says;

    /// <summary>Whether somebody is needed at once: then what can wait is left out.</summary>
    private static bool IsUrgent(FlagRecord flags) => flags.Standing.Any(flag => flag.Latest.Priority == FlagPriority.Urgent);

    /// <summary>A flag that rests on nothing but the readings of a more urgent one, which says as much, is named and no more.</summary>
    private static bool RestsOnWhatIsTold(FlagPeriod flag, IEnumerable<FlagPeriod> standing) =>
        !flag.Latest.Evidence.IsEmpty
        && standing.Any(other =>
            other.Latest.Priority > flag.Latest.Priority
            && other.Slug != DysreflexiaRisk.Rule.Slug // which rests on all that trigger it
            && flag.Latest.Evidence.All(other.Latest.Evidence.Contains)
        );

    private static IEnumerable<string> Catheter(Bedside bedside)
    {
        var (facts, inserted) = (bedside.Facts.CatheterType, bedside.Last<CatheterInserted>());
        (string What, string? Said)[] described =
        [
            ("type", inserted?.Type ?? facts.Type),
            ("size", (inserted?.French ?? facts.French) is { } size ? FormattableString.Invariant($"{size:0.#} Ch") : null),
            ("lumens", (inserted?.Lumens ?? facts.Lumens) is { } lumens ? $"{lumens} lumens" : null),
            ("balloon", inserted?.Balloon is { } balloon ? $"balloon {balloon}" : null),
        ];
        var said = string.Join(", ", described.Select(d => d.Said).OfType<string>());
        var unsaid = string.Join(", ", described.Where(d => d.Said is null).Select(d => d.What));
        var days = CatheterDays.Of(bedside.Log, bedside.Facts.CatheterInserted, bedside.At, bedside.Settings.CountedAt);
        var since = days switch
        {
            { Removed: { } removed } => $"removed {bedside.Said(removed)}",
            { Inserted: { } at } => $"day {CatheterDays.DayOf(at, bedside.At, bedside.Log.Frame.Zone)}, inserted {bedside.Said(at)}",
            _ => "when it was inserted is not on record",
        };
        string?[] parts = [said.Length > 0 ? said : null, since, unsaid.Length > 0 ? $"not on record: {unsaid}" : null];
        yield return Words.Capital($"{string.Join("; ", parts.OfType<string>())}.");
    }

    private static IEnumerable<string> Irrigation(FlagRecord flags)
    {
        var bedside = flags.Now;
        var (balance, start) = (bedside.Balance, bedside.Log.Frame.Start);
        var drips = LineDrip.Of(balance, bedside.At).ToList();
        foreach (var line in bedside.Lines)
        {
            var which = bedside.Lines.Count() > 1 ? $"Line {line}: " : "";
            var runs = balance.FlowAt(line, bedside.At) switch
            {
                null when balance.BagHangs(line, bedside.At) => "a bag hangs, and its flow is not charted",
                null => "whether anything runs is not charted",
                { } flow when flow > FlowRate.Stopped => $"{flow} now",
                _ => "nothing runs now",
            };
            var of = Irrigants.InUse(bedside) is { } solution ? $" ({solution})" : "";
            var changed = Titration.Of(bedside.Log, line, start, bedside.At).LastOrDefault(change => change.From is not null);
            var before = changed is null ? "" : $", changed {bedside.Said(changed.Change.At)} from {changed.From}";
            yield return Words.Capital($"{which}{runs}{of}{before}.");
            if (drips.Find(drip => drip.Line == line)?.Drip is { ToCount: [{ Drops: { } drops }, ..], Set: { } set })
                yield return FormattableString.Invariant($"Count {drops:0} drops/min by a set of {set}.");
        }

        if (bedside.Lines.Any())
        {
            var midnight = bedside.At.InZone(bedside.Log.Frame.Zone).Date.AtStartOfDayInZone(bedside.Log.Frame.Zone).ToInstant();
            var bags = bedside.Lines.Sum(line =>
                Enumerable.Range(0, bedside.Log[Channel.Bag(line)].Count).Count(i => bedside.Log[Channel.Bag(line)][i] is BagHung)
            );
            var today = midnight > start ? $", since midnight {Ran(balance.InstilledCharted(midnight, bedside.At))}" : "";
            var hung = bags switch
            {
                0 => "",
                1 => "; 1 bag hung",
                _ => FormattableString.Invariant($"; {bags} bags hung"),
            };
            yield return $"In since the start {Ran(balance.InstilledCharted(start, bedside.At))}{today}{hung}.";
        }

        foreach (var run in RunsOfCycles.Of(balance, bedside.At).Where(run => run.End >= bedside.At - Duration.FromHours(24)).TakeLast(2))
            yield return RunReport.Lines(run, bedside.Log.Frame.Zone).First();
        if (WeaningConditions.Hold(flags))
        {
            var hours = FormattableString.Invariant($"{bedside.Settings.WeaningAfter.TotalHours:0.#} h");
            yield return $"Light, without clots and free of obstruction for {hours}: ask whether to wean, with the haemoglobin.";
        }

        if (WeaningTrial.Of(flags, bedside.At - Duration.FromHours(24)).LastOrDefault() is { } trial)
            yield return $"Last trial without irrigation: {trial.Says(bedside)}";
        if (bedside.Last<WashoutPerformed>() is { } washout)
            yield return $"Last washout {bedside.Said(washout.At)}{Handover.Cleared(washout)}.";

        if (!bedside.Lines.Any())
            yield return "No irrigant is charted.";

        static string Ran(Volume? volume) => volume?.ToString() ?? "not known";
    }

    private static IEnumerable<string> Output(Bedside bedside, bool urgent)
    {
        var closed = bedside.Balance[FluidBalance.Bladder];
        if (closed.IsEmpty)
        {
            yield return "No drainage was read yet: nothing can be said of the urine.";
            yield break;
        }

        var latest = closed[^1];
        yield return $"Urine {bedside.Said(latest.Start)} to {bedside.Said(latest.End)}: {Made(latest.Output)}{Why(latest, bedside)}.";
        foreach (var doubt in latest.Doubts)
            yield return Texts.Doubted(doubt.Says);
        if (!urgent && Handover.ShiftStart(bedside) is var (start, _) && start < latest.Start)
        {
            var window = bedside.Balance.Over(WindowKind.Trailing, new(start, latest.End));
            if (Made(window.Output) != Made(latest.Output))
                yield return $"This shift, since {bedside.Said(start)}: {Made(window.Output)}.";
        }

        if (bedside.Standing("outflow-deficit") is null && bedside.Standing("return-short") is null && Deficit.Of(bedside) is { } deficit)
            yield return $"{deficit.Says(bedside)}.";
        var ran = bedside.Balance.Open(bedside.At).Instilled is { } since
            ? since == Volume.Zero
                ? "nothing ran in"
                : $"{since} ran in"
            : NotKnownHowMuch(bedside, latest.End);
        var partly = bedside.Log[Channel.BladderOutput].LastAtOrBefore(bedside.At)?.At > latest.End;
        var drained = partly ? "what came out is not read in full" : "nobody knows what came out";
        yield return $"Since the last reading at {bedside.Said(latest.End)} {ran}, and {drained}.";
    }

    /// <summary>That it is not known what ran in; why, where no flow is charted.</summary>
    private static string NotKnownHowMuch(Bedside bedside, Instant since) =>
        AbsentFlow.Says(AbsentFlow.Between(bedside.Balance, since, bedside.At), bedside.Said) is { } flow
            ? $"it is not known how much ran in, for {flow}"
            : "how much ran in is not known";

    /// <summary>The headline, and the best estimate with the interval that belongs to it.</summary>
    private static string Made(UrineOutput? output) =>
        output switch
        {
            null => "not known",
            { BestEstimate: { } best, Interval95: { } range } => $"{output.Headline} as charted, "
                + $"best estimate {best.Value} (95 % {AsRead.Range(range)})",
            _ => $"{output.Headline} as charted; how far off that may be cannot be told",
        };

    private static string Why(ClosedInterval interval, Bedside bedside)
    {
        if (interval.AbsentSays(bedside.Balance) is { } absent)
            return $". {Words.Capital(absent)}";
        var caveats = interval.Caveats.Where(caveat => caveat != Caveat.NegativeOutput).Take(3).Select(Words.Of).ToList();
        return caveats.Count == 0 ? "" : $". {Words.Capital(string.Join(", ", caveats))}";
    }

    /// <summary>The looks of the whole run, those that were like the one before left out.</summary>
    private static IEnumerable<string> Looks(Bedside bedside)
    {
        var looks = Looked.Before(bedside, bedside.At + Duration.Epsilon).Reverse().ToList();
        if (looks.Count == 0)
        {
            yield return "Nobody charted what the drainage looks like.";
            yield break;
        }

        var scale = looks[^1].Scale;
        List<string> trend = [];
        string? before = null;
        foreach (var look in looks)
        {
            var said = Said(look, scale);
            if (said != before)
                trend.Add($"{bedside.Said(look.At)} {said}");
            before = said;
        }

        var shown = trend.Count > 5 ? [trend[0], .. trend.TakeLast(4)] : trend;
        var on = scale is null ? "" : $" (grades on '{scale}')";
        var last = trend.Count < looks.Count ? $"; last looked {bedside.Said(looks[^1].At)}" : "";
        yield return $"{string.Join("; ", shown)}{on}{last}.";

        static string Said(DrainageAppearance look, string? scale)
        {
            string?[] parts =
            [
                look.Grade is { } grade
                    ? look.Scale == scale
                        ? $"grade {grade}"
                        : $"grade {grade} on another scale"
                    : null,
                look.Colour,
                Looked.ClotsSay(look),
            ];
            return string.Join(", ", parts.OfType<string>().DefaultIfEmpty("seen"));
        }
    }

    private static IEnumerable<string> Due(Bedside bedside, int most)
    {
        var due = DueThing.Of(bedside).OrderBy(thing => thing.At).Take(most).ToList();
        if (bedside.Clamped is { } shut && bedside.DwellOf(shut) is null)
            yield return $"The drain is clamped since {bedside.Said(shut.At)}, and no order says for how long.";
        if (due.Count == 0)
            yield return "Nothing that can be foretold.";
        else
            yield return Words.Capital($"{string.Join("; ", due.Select(Said))}.");

        string Said(DueThing thing)
        {
            var late = (bedside.At - thing.At).TotalMinutes;
            return late >= 1
                ? FormattableString.Invariant($"{thing.What} overdue by {late:0} min")
                : $"{thing.What} {bedside.Said(thing.At)}";
        }
    }

    /// <summary>What is missing, those of one thing together: order (method, target).</summary>
    private static IEnumerable<string> Missing(Bedside bedside)
    {
        var missing = CompleteRecord
            .Of(bedside)
            .Where(item => !item.IsRecorded)
            .Select(item => item.Name.Split(": ", 2))
            .GroupBy(name => name[0])
            .Select(group => group.First().Length == 1 ? group.Key : $"{group.Key} ({string.Join(", ", group.Select(name => name[1]))})")
            .ToList();
        yield return missing.Count == 0 ? "Nothing: the record is complete." : $"{Words.Capital(string.Join("; ", missing))}.";
    }

    /// <summary>What somebody could decide now, by what it takes.</summary>
    private static IEnumerable<string> NotKnown(FlagRecord flags)
    {
        var open = flags
            .Findings.Where(found => found.Latest is Finding.Undecided)
            .Where(found => flags.Now.Standing(found.Rule.Slug) is null)
            .Select(found => (found.Rule.Title, ((Finding.Undecided)found.Latest!).Needs))
            .Where(found => !NothingToDo.Any(nothing => found.Needs.Contains(nothing, StringComparison.Ordinal)))
            .GroupBy(found => found.Needs, found => found.Title);
        foreach (var needs in open)
            yield return $"{string.Join(", ", needs)}: needs {needs.Key}.";
    }
}
