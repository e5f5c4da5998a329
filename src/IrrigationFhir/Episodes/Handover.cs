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
using Wards = Irrigation.Balance.Calendar;

namespace IrrigationFhir.Episodes;

/// <summary>A section of a handover.</summary>
/// <param name="Slug">Code of <c>handover-section</c>.</param>
/// <param name="Title">For people.</param>
/// <param name="Lines">What it says, line by line; never empty: where there is nothing it says so.</param>
/// <param name="About">Addresses of the resources that it rests on.</param>
internal sealed record HandoverSection(string Slug, string Title, IReadOnlyList<string> Lines, IReadOnlyList<string> About);

/// <summary>What the next shift has to know, as of one moment. Facts that are old say how old they are.</summary>
internal sealed record Handover(Episode Episode, FlagRecord Flags, IReadOnlyList<HandoverSection> Sections)
{
    private static readonly Duration Old = Duration.FromHours(4);
    private static readonly LocalTimePattern Clock = LocalTimePattern.CreateWithInvariantCulture("HH:mm");
    private static readonly OffsetDateTimePattern Moment = OffsetDateTimePattern.CreateWithInvariantCulture("uuuu-MM-dd HH:mm o<Z+HH:mm>");

    /// <summary>The handover of an episode.</summary>
    public static Handover Of(Episode episode, FlagRecord flags)
    {
        var bedside = flags.Now;
        return new(
            episode,
            flags,
            [
                Standing(episode, flags),
                Catheter(episode, bedside),
                Irrigation(episode, flags),
                Balance(episode, bedside),
                Appearance(episode, bedside),
                Forecast(bedside),
                Dwell(bedside),
                Comfort(episode, bedside),
                Order(bedside),
                Contact(bedside),
                Record(bedside),
                Undecided(flags),
                Cautioned(flags),
            ]
        );
    }

    /// <summary>For a person.</summary>
    public string InWords()
    {
        var text = new StringBuilder();
        text.Append(
            CultureInfo.InvariantCulture,
            $"HANDOVER OF A BLADDER IRRIGATION   {Episode.Definition.Identifier.Value}   as of "
                + $"{Moment.Format(Flags.AsOf.InZone(Episode.Definition.Frame.Zone).ToOffsetDateTime())}\n"
        );
        foreach (var section in Sections)
        {
            text.Append('\n').Append(section.Title.ToUpperInvariant()).Append('\n');
            foreach (var line in section.Lines)
                text.Append("  ").Append(line).Append('\n');
        }

        return text.ToString();
    }

    private static HandoverSection Catheter(Episode episode, Bedside bedside)
    {
        var (facts, inserted) = (bedside.Facts.CatheterType, bedside.Last<CatheterInserted>());
        List<string> described =
        [
            .. new[]
            {
                inserted?.Type ?? facts.Type,
                (inserted?.French ?? facts.French) is { } size ? FormattableString.Invariant($"{size:0.#} Ch") : null,
                (inserted?.Lumens ?? facts.Lumens) is { } lumens ? $"{lumens} lumens" : null,
                inserted?.Balloon is { } balloon ? $"balloon {balloon}" : null,
            }.OfType<string>(),
        ];
        var days = CatheterDays.Of(bedside.Log, bedside.Facts.CatheterInserted, bedside.At, bedside.Settings.CountedAt);
        var opened = bedside.Log[Slug.Of(nameof(ClosedSystemOpened))];
        List<string> lines = [described.Count > 0 ? string.Join(", ", described) : "Type, size and lumens are not on record."];
        if (days.Inserted is not { } since)
            lines.Add("When it was inserted is not on record: its days cannot be counted.");
        else if (days.Removed is { } removed)
            lines.Add($"Removed {bedside.Said(removed)}, after {days.Hours:0} h.");
        else
        {
            var day = CatheterDays.DayOf(since, bedside.At, bedside.Log.Frame.Zone);
            var ago = FormattableString.Invariant($"{days.Hours:0.#} h ago");
            var counts = $"{days.Days} catheter days as counted daily at {Clock.Format(bedside.Settings.CountedAt)}";
            lines.Add($"Day {day} by the calendar: inserted {bedside.Said(since)}, {ago}; {counts}.");
        }

        lines.Add(
            opened.Count == 0
                ? "No opening of the closed system is charted."
                : $"Openings of the closed system: {opened.Count}; the last {Aged(bedside, opened[opened.Count - 1].At)}."
        );
        return new("catheter", "Catheter", lines, []);
    }

    private static HandoverSection Irrigation(Episode episode, FlagRecord flags)
    {
        var bedside = flags.Now;
        List<string> lines = [];
        foreach (var line in bedside.Lines)
        {
            var flow = bedside.Balance.FlowAt(line, bedside.At);
            var runs =
                flow is null ? "a bag hangs, and its flow is not charted"
                : flow > FlowRate.Stopped ? $"{flow} now"
                : "nothing runs now";
            var of = Irrigants.InUse(bedside) is { } solution ? $" ({solution})" : "";
            lines.Add($"Line {line}: {runs}{of}.");
            foreach (var change in Titration.Of(bedside.Log, line, bedside.At - Duration.FromHours(24), bedside.At).TakeLast(4))
            {
                lines.Add($"  {InWords(change, bedside)}");
            }
        }

        if (lines.Count == 0)
            lines.Add("No irrigant is charted.");
        foreach (var drip in LineDrip.Of(bedside.Balance, bedside.At))
        {
            lines.Add($"Drip of line {drip.Line}:");
            lines.AddRange(drip.Says(bedside.Said).Select(sentence => $"  {sentence}"));
            lines.Add($"  {Drip.Caution}");
        }

        if (WeaningTrial.Of(flags, bedside.At - Duration.FromHours(24)).LastOrDefault() is { } trial)
            lines.Add($"Last trial: {trial.Says(bedside)}");
        var recent = RunsOfCycles.Of(bedside.Balance, bedside.At).Where(run => run.End >= bedside.At - Duration.FromHours(24)).TakeLast(4);
        foreach (var run in recent)
            lines.AddRange(RunReport.Lines(run, bedside.Log.Frame.Zone).Select((line, place) => place == 0 ? line : $"  {line}"));
        if (bedside.NextIrrigation is { } next)
            lines.Add($"Next due {bedside.Said(next.Due)}: {next.Says(bedside.Said)}.");
        if (bedside.Last<WashoutPerformed>() is { } washout)
            lines.Add($"Last washout {Aged(bedside, washout.At)}{Cleared(washout)}.");

        if (bedside.Lines.Any())
            lines.AddRange(AccountInWords.Of(bedside));
        lines.AddRange(WeaningConditions.Of(flags).Select(condition => AccountInWords.Of(condition)));

        return new("irrigation", "Irrigation", lines, !bedside.Lines.Any() ? [] : [$"Procedure/{BladderIrrigationMapper.IdOf(episode)}"]);
    }

    /// <summary>A change of the flow, with what was seen before and after, and why.</summary>
    private static string InWords(Titration change, Bedside bedside)
    {
        string?[] parts =
        [
            $"{bedside.Said(change.Change.At)}: {(change.From is { } from ? $"{from} to " : "")}{change.Change.Rate}",
            change.Before is { } before ? $"before: {Looked.Says(before)}" : null,
            change.After is { } after ? $"after: {Looked.Says(after)}" : null,
            change.WithinOrder == false ? "outside the order" : null,
            change.Reason,
        ];
        return string.Join("; ", parts.OfType<string>());
    }

    private static HandoverSection Appearance(Episode episode, Bedside bedside)
    {
        var looks = Looked.Before(bedside, bedside.At + Duration.Epsilon).Take(4).Reverse().ToList();
        return looks.Count == 0
            ? new("appearance", "Drainage appearance", ["Nobody charted what the drainage looks like."], [])
            : new(
                "appearance",
                "Drainage appearance",
                [
                    .. looks.Select(look => $"{Aged(bedside, look.At)}: {Looked.Says(look)}"),
                    .. LooksOverTime.Of(bedside.Log, bedside.Log.Frame.Start, bedside.At).Select(AccountInWords.Of),
                ],
                Addresses(episode, looks)
            );
    }

    private static HandoverSection Balance(Episode episode, Bedside bedside)
    {
        var closed = bedside.Balance[FluidBalance.Bladder];
        if (closed.IsEmpty)
            return new("balance", "Balance", ["No drainage was read yet: nothing can be said of the urine."], []);
        var latest = closed[^1];
        var made = latest.Output is { } output
            ? $"corrected urine output {output.Headline}{Interval(output)}"
            : "the corrected urine output is not known";
        List<string> lines =
        [
            $"{bedside.Said(latest.Start)} to {bedside.Said(latest.End)}: {made}.",
            .. latest.AbsentSays(bedside.Balance) is { } absent ? [$"{Words.Capital(absent)}."] : Array.Empty<string>(),
            .. latest.Caveats.Select(caveat => $"{Words.Capital(Words.Of(caveat))}."),
        ];
        lines.AddRange(latest.Doubts.Select(doubt => Texts.Doubted(doubt.Says)));
        if (ShiftStart(bedside) is var (start, byEntry) && start < latest.End)
        {
            var whence = byEntry ? "the first entry at " : "";
            var window = bedside.Balance.Over(WindowKind.Trailing, new(start, latest.End));
            var said = window.Output is { } so ? $"{so.Headline}{Interval(so)}" : "not known";
            lines.Add($"This shift, from {whence}{bedside.Said(start)} to the last reading: {said}.");
        }

        if (bedside.Standing("outflow-deficit") is null && bedside.Standing("return-short") is null)
            lines.Add(
                Deficit.Of(bedside) is { } deficit ? $"{deficit.Says(bedside)}." : "No irrigant is unaccounted for by the last reading."
            );
        var since = bedside.Balance.Open(bedside.At).Instilled;
        lines.Add(
            $"Since the last reading ({Aged(bedside, latest.End)}): "
                + $"{(since is { } ran ? $"{ran} ran in" : "what ran in is not known")}, and nobody knows what came out."
        );
        return new("balance", "Balance", lines, [$"Observation/{CorrectedUrineOutputMapper.IdOf(episode, latest)}"]);
    }

    /// <summary>When this shift began, or its first entry if that was later; null where the ward has no shifts.</summary>
    /// <remarks>Nothing is known of the time before the first entry, and what nobody charted is no part of a shift's output.</remarks>
    internal static (Instant Start, bool ByEntry)? ShiftStart(Bedside bedside)
    {
        var shift = Wards.Windows(WindowKind.Shift, bedside.Log.Frame, bedside.At - Duration.Epsilon, bedside.At).LastOrDefault();
        if (!shift.HasStart)
            return null;
        var entry = bedside.Log[Channel.Everything][0];
        var first = entry.Header.From ?? entry.At;
        return (Instant.Max(shift.Start, first), first > shift.Start);
    }

    /// <summary>What a washout did, after a comma; empty where nobody said.</summary>
    internal static string Cleared(WashoutPerformed washout) =>
        washout.Cleared switch
        {
            true => ", cleared",
            false => ", not cleared",
            null => "",
        };

    private static HandoverSection Forecast(Bedside bedside)
    {
        var forecasts = bedside.Foretold;
        return new(
            "forecasts",
            "Forecasts",
            forecasts.IsEmpty
                ? ["None: the episode has ended."]
                :
                [
                    .. forecasts.Select(f =>
                        $"{Named(f)}: {(f.At is { } at ? bedside.Said(at) : "cannot be told")}. {Words.Capital(f.Assumption)}."
                    ),
                ],
            []
        );
    }

    private static string Named(Forecast forecast) =>
        forecast.Kind switch
        {
            "bag-empty" => $"Bag of line {forecast.What} empty",
            "container-full" => $"Container {forecast.What} to empty",
            "distension-limit" => "Bladder at its limit if the outflow stopped now",
            NextIrrigation.Kind when forecast.What != "irrigation" => $"Next dose of {forecast.What}",
            NextIrrigation.Kind => "Next irrigation",
            var other => $"{Words.Capital(Words.Of(other))} {forecast.What}",
        };

    private static HandoverSection Dwell(Bedside bedside) =>
        new(
            "dwell",
            "Dwell",
            [
                bedside.Clamped is not { } clamp ? "The drain is open."
                : bedside.DwellOf(clamp) is { } dwell
                    ? $"Clamped since {bedside.Said(clamp.At)}; to be released at {bedside.Said(clamp.At + dwell)} "
                        + FormattableString.Invariant($"(ordered dwell {dwell.TotalMinutes:0.#} min).")
                : $"Clamped since {bedside.Said(clamp.At)}; no order names a dwell.",
            ],
            []
        );

    private static HandoverSection Standing(Episode episode, FlagRecord flags)
    {
        var standing = flags.Standing.OrderByDescending(f => f.Latest.Priority).ToList();
        var said = new SaidOnce();
        return new(
            "flags",
            "Flags",
            standing.Count == 0 ? ["None stands."] : [.. standing.SelectMany(flag => Lines(flag))],
            [.. standing.Select(flag => $"Flag/{FlagMapper.IdOf(episode, flag)}")]
        );

        IEnumerable<string> Lines(FlagPeriod flag)
        {
            var incomplete = flag.Slug == RecordIncomplete.Rule.Slug; // the section of the record says what is missing
            var seen = FlagRecord.Acknowledged(episode.Log, flag, FlagMapper.IdOf(episode, flag));
            var (rule, acknowledged) = (FlagRules.Find(flag.Slug)!, seen is null ? "not acknowledged" : $"seen {flags.Now.Said(seen.At)}");
            yield return $"{Slug.Of(flag.Latest.Priority)}: {rule.Title}, since {flags.Now.Said(flag.Start)}, {acknowledged}";
            yield return incomplete ? "  What is missing stands under the record." : $"  {said.Of(Words.Capital(flag.Latest.Says))}";
            if (!incomplete && said.Of(rule.Caution) is { Length: > 0 } caution)
                yield return $"  {caution}";
        }
    }

    private static HandoverSection Undecided(FlagRecord flags)
    {
        var said = new SaidOnce();
        List<string> lines =
        [
            .. flags
                .Findings.Where(f => f.Latest is Finding.Undecided)
                .Select(f => (f.Rule.Title, Finding: (Finding.Undecided)f.Latest!))
                .GroupBy(f => f.Finding.Needs)
                .Select(asks => said.Of($"{string.Join(" ", asks.Select(f => $"{f.Title}: {f.Finding.Why}."))} Needs {asks.Key}.")),
        ];
        return new("undecided", "Undecided", lines.Count == 0 ? ["Every rule has an answer."] : lines, []);
    }

    private static HandoverSection Comfort(Episode episode, Bedside bedside)
    {
        if (bedside.Last<ToleranceNoted>() is not { } noted)
            return new("comfort", "Pain and spasm", ["Nobody charted pain or spasm."], []);
        List<string> said =
        [
            .. new[]
            {
                noted.Pain is { } pain ? $"pain {pain} of 10" : "pain not charted",
                noted.Spasm switch
                {
                    true => "spasm",
                    false => "no spasm",
                    null => "spasm not charted",
                },
                noted.Tolerated switch
                {
                    true => "tolerated well",
                    false => "tolerated poorly",
                    null => null,
                },
            }.OfType<string>(),
        ];
        return new("comfort", "Pain and spasm", [$"{Aged(bedside, noted.At)}: {string.Join(", ", said)}."], Addresses(episode, [noted]));
    }

    private static HandoverSection Order(Bedside bedside)
    {
        if (bedside.Order is not { Terms: var order } inForce)
            return new("order", "Order", [Orders.NoneSays(bedside.Log, bedside.At, bedside.Said)], []);
        string?[] said =
        [
            order.Order,
            order.Method is { } method ? Words.Of(method) : null,
            order.Solution,
            order.Additive is { } drug ? $"with {drug}" : null,
            order switch
            {
                { Amount: { } volume, Over: { } over } => FormattableString.Invariant($"{volume} in {over.TotalHours:0.##} h"),
                { Amount: { } amount } => $"{amount} each",
                _ => null,
            },
            order.DropFactor is { } set ? $"by a set of {set}" : null,
            (order.AtLeast, order.AtMost) switch
            {
                (null, null) => null,
                ({ } low, null) => $"at least {low}",
                (null, { } high) => $"at most {high}",
                ({ } low, { } high) => $"{low} to {high}",
            },
            order.Dwell is { } dwell ? FormattableString.Invariant($"dwell {dwell.TotalMinutes:0.#} min") : null,
            order.Aliquot is { } aliquot ? $"aliquots of {aliquot}" : null,
            order.Cycles is { } cycles ? $"{cycles} cycles" : null,
            order.UntilClear == true ? "until clear" : null,
            order.TimesPerDay is { } times ? $"{times} times a day" : null,
            order.Days is { } days ? $"for {days} days" : null,
            order.Frequency,
            order.Target is { } target ? $"target: {target}" : null,
            order.Until is { } until ? $"expires {bedside.Said(until)}" : null,
            inForce.Given(bedside.Said),
        ];
        return new("order", "Order", [$"{Aged(bedside, inForce.Start)}: {string.Join("; ", said.OfType<string>())}."], []);
    }

    private static HandoverSection Contact(Bedside bedside) => new("contact", "Whom to call", [WhomToCall(bedside)], []);

    /// <summary>Whoever ends an order is seldom whoever is on call: the one named by it stays to be asked.</summary>
    private static string WhomToCall(Bedside bedside) =>
        (bedside.Order, Orders.Latest(bedside.Log, bedside.At)) switch
        {
            ({ } order, _) => order.Terms.Contact ?? "The order names nobody.",
            (null, { Terms.Contact: { } former }) => $"{former}. The order that was withdrawn names them.",
            _ => "No order names anybody.",
        };

    private static HandoverSection Record(Bedside bedside)
    {
        var missing = CompleteRecord.Of(bedside).Where(item => !item.IsRecorded).ToList();
        return new("record", "Record", [missing.Count == 0 ? "Complete." : $"Missing: {CompleteRecord.Says(missing)}."], []);
    }

    /// <summary>The general ones, but for those that stand beside a flag.</summary>
    private static HandoverSection Cautioned(FlagRecord flags)
    {
        string[] general = [Cautions.Outflow, Cautions.NeverForce, Cautions.KeepClosed, Cautions.Graduations, Cautions.MissingIsNotZero];
        var said = new SaidOnce();
        foreach (var flag in flags.Standing.Where(flag => flag.Slug != RecordIncomplete.Rule.Slug))
            said.Of(FlagRules.Find(flag.Slug)!.Caution);
        return new(
            "cautions",
            "Cautions",
            [.. general.Prepend(Cautions.Prompt).Select(caution => said.Of(caution)).Where(caution => caution.Length > 0)],
            []
        );
    }

    private static string Interval(UrineOutput output) =>
        output.Interval95 is { } range
            ? $", best estimate {output.BestEstimate!.Value.Value} (95 % {AsRead.Range(range)})"
            : " (how far off that may be cannot be told)";

    private static string Aged(Bedside bedside, Instant at) =>
        bedside.At - at >= Old
            ? FormattableString.Invariant($"{bedside.Said(at)}, {(bedside.At - at).TotalHours:0} h old")
            : bedside.Said(at);

    private static List<string> Addresses(Episode episode, IEnumerable<Entry> entries) =>
        [.. entries.Select(entry => EntryMapper.IdOf(episode, entry)).OfType<string>().Select(id => $"Observation/{id}")];
}
