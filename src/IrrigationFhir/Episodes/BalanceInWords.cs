using System.Globalization;
using Irrigation;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Measures;
using Irrigation.Runs;
using IrrigationFhir.Fhir;
using IrrigationFhir.Rest;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Episodes;

/// <summary>A balance in words, for somebody with paper and pencil: every number with what it was made from.</summary>
/// <remarks>Renders a <see cref="BalanceReport"/> and works out nothing itself, so that words and JSON cannot tell two stories.</remarks>
internal static class BalanceInWords
{
    private const int Width = 108;
    private const int Sum = 46;
    private const string Provisional = "Provisional: part of the time is still open; worked out again when that has been read.";

    private static readonly OffsetDateTimePattern Times = OffsetDateTimePattern.ExtendedIso;

    /// <summary>Writes all of it.</summary>
    public static void Write(BalanceReport report, TextWriter output)
    {
        output.WriteLine($"Fluid balance as of {Day(report.AsOf)} {Clock(report.AsOf)}. Times are local times of {report.TimeZone}.");
        output.WriteLine();
        Prose(
            output,
            "",
            "Urine made = drained − irrigant run in + more held in the bladder than before + leaked − blood removed. "
                + "Volumes are as charted; sums are made first and rounded to 0.1 mL afterwards. "
                + "The best estimate also takes out known error (a bag holds more than its label says). "
                + "The ± behind it is one standard uncertainty; with 95 % certainty the truth lies within two of them."
        );

        output.WriteLine();
        Brief(report, output, caveats: false);
        if (report.Numbers is { } numbers)
            Write(numbers, output);
        output.WriteLine("Below, the same with every step.");

        Heading(output, "From one reading of the drainage to the next");
        if (report.Intervals.Count == 0)
            output.WriteLine("  Nothing yet: no drainage was read.");
        foreach (var interval in report.Intervals)
            Write(interval, output);

        if (report.Runs.Count > 0)
            Heading(output, "Runs of cycles: instilled, held, returned");
        foreach (var run in report.Runs)
            Prose(output, "  ", run.InWords);

        Windows(output, "Clock hours", report.Hours);
        Windows(output, "Shifts", report.Shifts);
        Windows(output, "Days", report.Days);
        Windows(output, "The last 6, 12 and 24 hours", report.Trailing);

        Heading(output, "Urine-output criteria (of urine output alone: no diagnosis)");
        foreach (var criterion in report.Criteria)
            Write(criterion, output);

        Heading(output, "Since the last reading");
        Write(report.Open, output);

        Heading(output, "What comes next, if things go on as they are");
        if (report.Forecasts.Count == 0)
            output.WriteLine("  Nothing to forecast: the episode has ended.");
        foreach (var forecast in report.Forecasts)
            Write(forecast, report.AsOf, output);

        if (report.Drips.Count > 0)
        {
            Heading(output, "What drips");
            foreach (var line in report.Drips)
                Prose(output, $"  Line {line.Line}: ", string.Join(' ', line.Drip.Says));
            Prose(output, "  ", report.Drips[0].Drip.Caution);
        }

        output.WriteLine();
        Prose(output, "", report.Caution);
    }

    /// <summary>Intervals, hours and shifts at a glance, one a line.</summary>
    /// <param name="report">The report.</param>
    /// <param name="output">Where to.</param>
    /// <param name="caveats">Whether with their caveats' codes.</param>
    public static void Brief(BalanceReport report, TextWriter output, bool caveats)
    {
        Table(
            output,
            "From reading to reading",
            report.Intervals.Select(i => new Row(
                i.Start,
                i.End,
                i.IrrigantInstilled,
                i.Drained,
                i.SimpleOutput,
                i.CorrectedUrineOutput,
                i.AbsentReason,
                i.Status,
                i.Caveats,
                i.Stream
            )),
            caveats
        );
        Table(
            output,
            "By the clock hour (in by the irrigant's flow, out and simple as charted in it)",
            report.Hours.Select(Row.Of),
            caveats
        );
        Table(output, "By the shift", report.Shifts.Select(Row.Of), caveats);
    }

    private sealed record Row(
        string Start,
        string End,
        Amount? In,
        Amount? Out,
        Amount? Simple,
        OutputReport? Output,
        string? Absent,
        string Status,
        IReadOnlyList<string> Caveats,
        string Stream = FluidBalance.Bladder
    )
    {
        public static Row Of(WindowReport w) =>
            new(
                w.Start,
                w.End,
                w.IrrigantInstilled,
                w.DrainageCharted,
                w.SimpleOutput,
                w.CorrectedUrineOutput,
                w.AbsentReason,
                w.Status,
                w.Caveats
            );
    }

    private static void Table(TextWriter output, string title, IEnumerable<Row> rows, bool caveats)
    {
        output.WriteLine(title);
        output.WriteLine(
            "  from   to     |  in mL  out mL  simple | corrected  status       | 95 % of the best" + (caveats ? "  | caveats" : "")
        );
        foreach (var row in rows)
        {
            var corrected = row.Output is { } output95 ? Number(output95.Headline.Value) : "?";
            var range = row.Output?.Interval95 is { } known
                ? string.Create(CultureInfo.InvariantCulture, $"{known.Low.Value:0} to {known.High.Value:0}").Replace('-', '−')
                : "?";
            var stream = row.Stream == FluidBalance.Bladder ? "" : $"  ({Words(row.Stream)})";
            output.WriteLine(
                $"  {Clock(row.Start)}  {Clock(row.End)}  |{Cell(row.In, 7)} {Cell(row.Out, 7)} {Cell(row.Simple, 7)} |"
                    + $" {corrected, 9}  {row.Status, -12} | "
                    + $"{(caveats ? $"{range, -17} | {string.Join("; ", row.Caveats.Select(Caveat))}" : range)}{stream}"
            );
        }

        output.WriteLine();
    }

    private static void Write(NumbersReport numbers, TextWriter output)
    {
        output.WriteLine("Since the start, and by the day");
        Write("since the start", numbers.SinceStart, output);
        if (numbers.Since is { } since)
            Write($"since {Day(since.Start)} {Clock(since.Start)}", since, output);
        foreach (var day in numbers.Days.Count > 1 ? numbers.Days : [])
            Write(Day(day.Start), day, output);
        output.WriteLine();
        if (numbers.Looks.Count > 0)
        {
            output.WriteLine("How long the drainage looked how (the time since the last look is in none)");
            foreach (var look in numbers.Looks)
            {
                var seen = $"seen {AccountInWords.Often(look.Looks)}, last {When(look.Last, numbers.SinceStart.End)}";
                Prose(output, "  ", $"{look.Says}: {Length(look.Lasted)}, {seen}.");
            }

            output.WriteLine();
        }

        if (numbers.Weaning.Count > 0)
        {
            output.WriteLine("Can it be weaned: the site's conditions");
            foreach (var condition in numbers.Weaning)
                Prose(output, $"  {AccountInWords.Told(condition.Holds), -15} ", $"{Capital(condition.Name)}: {condition.Says}.");
            Prose(output, "  ", numbers.WeaningCaution);
            output.WriteLine();
        }
    }

    private static void Write(string what, AccountReport account, TextWriter output)
    {
        var irrigant = account is { Irrigant: { } charted, IrrigantBest: { } best, Irrigant95: { } range }
            ? $"irrigant {AsRead.Volume(Ml(charted))}, at best {AsRead.Volume(Ml(best))} (95 % {Range(range)})"
            : $"irrigant not known: {account.IrrigantAbsent}";
        var made = account.Output switch
        {
            null => $"urine not known: {account.OutputAbsent}",
            { BestEstimate: { } mean, Interval95: { } interval } known => $"urine {AsRead.Volume(Ml(known.Headline))}, "
                + $"at best {AsRead.Volume(Ml(mean))} (95 % {Range(interval)})",
            { } known => $"urine {AsRead.Volume(Ml(known.Headline))}; how far off that may be is not known",
        };
        var until = account.OutputUntil == account.End ? "" : $", up to the reading of {When(account.OutputUntil, account.End)}";
        Prose(output, $"  {$"{what}:", -17} ", $"{Capital(irrigant)}. {Capital(made)}{until}.");
    }

    private static Volume Ml(Amount amount) => Volume.FromMillilitres(amount.Value);

    private static string Range(RangeReport range) => AsRead.Range(new(Ml(range.Low), Ml(range.High)));

    private static string Cell(Amount? amount, int width) => (amount is null ? "?" : Number(amount.Value)).PadLeft(width);

    /// <summary>A caveat's meaning.</summary>
    private static string Caveat(string slug) => Irrigation.Words.Of(Slug.Read<Caveat>(slug)!.Value);

    private static void Write(IntervalReport interval, TextWriter output)
    {
        output.WriteLine();
        var stream = interval.Stream == FluidBalance.Bladder ? "" : $"{Capital(Words(interval.Stream))}, ";
        output.WriteLine($"  {stream}{Span(interval.Start, interval.End)} ({Length(interval.Duration)}), {interval.Status}");

        Term(output, "Drained", interval.Drained, sign: ' ');
        Parts(output, interval, "drainage", "urine");
        if (interval.Stream == FluidBalance.Bladder)
        {
            Term(output, "irrigant run in", interval.IrrigantInstilled, sign: '−');
            Parts(output, interval, "irrigant", "irrigant-from-rate");
            Term(output, "more held in the bladder than before", interval.RetainedChange, sign: '+', absent: "0 assumed");
            Retained(output, interval);
            Term(output, "leaked", interval.Leaked, sign: '+', absent: "0 assumed");
            Parts(output, interval, "leak");
            if (interval.Blood is not null)
                Term(output, "blood and clots removed", interval.Blood, sign: '−');
            Parts(output, interval, "blood");
        }

        Result(interval, output);
        var zero = interval.AssumedZero.Select(term => Lower(Codes.Display("balance-term", term))).ToList();
        if (zero.Count > 0)
            Prose(output, "    ", $"Taken as 0, because nobody measured it: {string.Join(", ", zero)}.");
        Caveats(output, "    ", interval.Caveats);
        foreach (var doubt in interval.Doubts)
            Prose(output, "    ", Texts.Doubted(doubt.Says));
    }

    private static void Result(IntervalReport interval, TextWriter output)
    {
        if (interval.CorrectedUrineOutput is not { } output95)
        {
            output.WriteLine($"    {"= Corrected urine output", -Sum} unknown: {interval.AbsentSays}");
        }
        else
        {
            var all = new (char Sign, Amount? Term)[]
            {
                (' ', interval.Drained),
                ('−', interval.IrrigantInstilled),
                ('+', interval.RetainedChange),
                ('+', interval.Leaked),
                ('−', interval.Blood),
            };
            var terms = all.Where(t => t.Term is not null).ToList();
            var charted = terms.Sum(t => t.Sign == '−' ? -t.Term!.Value : t.Term!.Value);
            var worked = string.Concat(terms.Select((t, i) => i == 0 ? Number(t.Term!.Value) : $" {t.Sign} {InSum(t.Term!.Value)}"));
            output.WriteLine(
                $"    {"= Corrected urine output", -Sum}{Column(charted)} "
                    + $"mL{(interval.Stream == FluidBalance.Bladder ? $"   {worked} = {Number(charted)}" : "")}"
            );
            if (Math.Abs(output95.Headline.Value - charted) > 0.01m)
                output.WriteLine($"    {"  as this site states it: the best estimate", -Sum}{Column(output95.Headline.Value)} mL");
            if (interval.Rate is { } rate)
                output.WriteLine(
                    $"    {"  an hour", -Sum}{Column(rate.PerHour.Value)} mL/h {Number(output95.Headline.Value)} mL in "
                        + $"{Length(interval.Duration)}{PerKilogram(rate)}"
                );
            output.WriteLine($"    {Best(output95)}");
        }

        if (interval.SimpleOutput is { } simple && interval.Stream == FluidBalance.Bladder)
        {
            output.WriteLine(
                $"    {"Simple sum of what was charted in this time", -Sum}{Column(simple.Value)} mL   drained less irrigant, "
                    + "each where it was charted"
            );
        }
    }

    private static string PerKilogram(RateReport rate) =>
        rate is { PerKilogramHour: { } perKilogram, Weight: { } weight }
            ? $", over {Number(weight.Weight.Value)} kg: {Precise(perKilogram.Value)} mL/kg/h"
            : "";

    private static string Best(OutputReport output) =>
        output is { BestEstimate: { } best, StandardUncertainty: { } u, Interval95: { } range }
            ? $"{"Best estimate", -Sum}{Column(best.Value)} mL   ± {Number(u.Value)}; with 95 % certainty "
                + $"{Number(range.Low.Value)} to {Number(range.High.Value)}"
            : $"{"Best estimate", -Sum} none: something was not charted, so how far off the number may be is not known";

    private static void Term(TextWriter output, string name, Amount? amount, char sign, string absent = "unknown") =>
        output.WriteLine($"    {$"{sign} {name}", -Sum}{(amount is null ? absent.PadLeft(12) : $"{Column(amount.Value)} mL")}");

    private static void Parts(TextWriter output, IntervalReport interval, params string[] kinds)
    {
        foreach (var part in interval.Parts.Where(p => kinds.Contains(p.Kind)))
        {
            Prose(
                output,
                $"      {(part.Share is { } share ? $"{Column(share.Value)} mL" : "unknown     ")}  ",
                Made(part, interval.Start)
            );
        }
    }

    private static void Retained(TextWriter output, IntervalReport interval)
    {
        var scans = interval
            .Parts.Where(p => p.Kind == "retained")
            .Select(p => $"{Number(p.Share!.Value)} (scan {When(p.To, interval.Start)})")
            .Reverse()
            .ToList();
        if (scans.Count == 0)
            return;
        Prose(
            output,
            $"      {"", 12}  ",
            scans.Count > 1 ? string.Join(" − ", scans) : $"{scans[0]}; what was held at the start is not known, so it does not count"
        );
    }

    /// <summary>How a part came about, so that it can be worked again.</summary>
    private static string Made(PartReport part, string near)
    {
        var said = $"{Words(part.EntryKind)} {When(part.To, near)}";
        switch (part.Kind)
        {
            case "irrigant-from-rate":
                var ran = part.Rate is { } rate ? $"{Number(rate.Value)} mL/h" : "charted flow";
                return $"flow {ran}, {Span(part.From, part.To, near)} ({Between(part.From, part.To)}), not measured";
            case "leak" or "blood":
                return said;
        }

        var readings =
            part.Readings is { } two && (two.Before.Value != 0 || part.Kind != "drainage") ? $": {Difference(part, two)}"
            : part.Weighed is { } scale ? $": {Weighed(scale)}"
            : "";
        if (readings.Length > 0 && part is { Readings.Before.Value: not 0, Weighed: { } weighed })
            readings += $"; {Number(part.Whole!.Value)} = {Weighed(weighed)}";
        if (part.Spread is not { } spread)
            return $"{said}{readings}";
        var (whole, share, of) = (Number(part.Whole!.Value), Precise(spread.Share.Value), Precise(spread.Whole.Value));
        var by = spread.By switch
        {
            "charted-flow" => $"by the charted flow {Number(spread.Share.Value)} mL of {Number(spread.Whole.Value)}",
            "unclamped-time" => $"by the time without clamp {share} h of {of}",
            _ => $"by time {share} h of {of}",
        };
        var times = spread.By == "charted-flow" ? $"{Number(spread.Share.Value)} / {Number(spread.Whole.Value)}" : $"{share} / {of}";
        return $"{whole} × {times}: {whole} mL ran {Span(part.From, part.To, near)}, {by} in this time; {said}{readings}";
    }

    private static string Difference(PartReport part, ReadingsReport two)
    {
        var (before, after) = (Number(two.Before.Value), Number(two.After.Value));
        var (tubing, discarded) = (Less(two.Tubing, "in the tubing"), Less(two.Discarded, "discarded"));
        return part.EntryKind is "bag-read" or "bag-taken-down"
            ? $"{before}{tubing}{discarded} − {after} left = {Number(part.Whole!.Value)}"
            : $"{after} now − {before} before{discarded}";
    }

    private static string Less(Amount? amount, string what) => amount is { } known ? $" − {Number(known.Value)} {what}" : "";

    private static string Weighed(WeighedReport scale)
    {
        var gross = $"{Number(scale.Gross.Value)} g";
        var net = scale.Tare is { } tare ? $"({gross} − {Number(tare.Value)} g empty)" : gross;
        return $"{net} / {Precise(scale.GramsPerMillilitre)} g/mL";
    }

    private static void Windows(TextWriter output, string title, IReadOnlyList<WindowReport> windows)
    {
        Heading(output, title);
        if (windows.Count == 0)
            output.WriteLine("  None.");
        foreach (var window in windows)
        {
            output.WriteLine();
            var span = Span(window.Start, window.End);
            var covered =
                window.Covered.Value < window.Duration.Value
                    ? $", {(window.Covered.Value == 0 ? "none" : Length(window.Covered))} of {Length(window.Duration)} known"
                    : $" ({Length(window.Duration)})";
            output.WriteLine($"  {span}{covered}, {window.Status}");
            foreach (var share in window.Shares)
                output.WriteLine(
                    $"      {(share.Amount is { } amount ? $"{Column(amount.Value)} mL" : "unknown     ")}  {Share(share, window.Start)}"
                );
            if (window.CorrectedUrineOutput is not { } corrected)
            {
                output.WriteLine($"    {"= Corrected urine output", -Sum} unknown: {Absent(window.AbsentReason)}");
            }
            else
            {
                var rate = window.Rate is { } known
                    ? $"   {Number(known.PerHour.Value)} mL/h over {Length(window.Covered)}{PerKilogram(known)}"
                    : "";
                output.WriteLine($"    {"= Corrected urine output", -Sum}{Column(corrected.Headline.Value)} mL{rate}");
                output.WriteLine($"    {Best(corrected)}");
            }

            if (window is { SimpleOutput: { } simple, DrainageCharted: { } drained, IrrigantCharted: { } irrigant })
            {
                output.WriteLine(
                    $"    {"Simple sum of what was charted in this time", -Sum}{Column(simple.Value)} mL   "
                        + $"{Number(drained.Value)} drained − {Number(irrigant.Value)} irrigant"
                );
            }

            Caveats(output, "    ", window.Caveats);
        }
    }

    private static string Share(ShareReport share, string near)
    {
        var stream = share.Stream == FluidBalance.Bladder ? "" : $"{Words(share.Stream)}, ";
        var whole = share.Whole is { } known ? $"{Number(known.Value)} mL" : "an unknown amount";
        return share.Covered == share.Duration
            ? $"{stream}all of {Span(share.Start, share.End, near)}"
            : $"{stream}{Length(share.Covered)} of the {Length(share.Duration)} from {Span(share.Start, share.End, near)}, which "
                + $"made {whole}";
    }

    private static void Write(CriterionReport criterion, TextWriter output)
    {
        output.WriteLine();
        var stage = criterion.Stage > 0 ? $", stage {criterion.Stage}" : "";
        var hours = Elapsed(criterion.Start, criterion.End).TotalHours;
        var reading =
            criterion.Reading == "every-hour" ? $"every one of {hours:0} hours"
            : criterion.Threshold.Unit == "mL" ? $"in {hours:0} hours"
            : $"mean over {hours:0} hours";
        var wanted = $"{Comparison(criterion.Comparison)} {Precise(criterion.Threshold.Value)} {criterion.Threshold.Unit}";
        output.WriteLine($"  {Name(criterion.Criterion)}{stage}: {wanted}, {reading} ({Span(criterion.Start, criterion.End)})");

        string Shown(Amount amount) => amount.Unit == "mL" ? Number(amount.Value) : Precise(amount.Value);
        var value = criterion.Value is { } best
            ? $"{Shown(best)} {best.Unit}{(criterion.Reading == "every-hour" ? " in the highest hour" : "")}"
            : "No value";
        var range = criterion.Interval95 is { } interval ? $", with 95 % certainty {Shown(interval.Low)} to {Shown(interval.High)}" : "";
        var weight = criterion.Weight is { } known
            ? $"; weight {Number(known.Weight.Value)} kg ({known.Kind}, {Day(known.At)} {Clock(known.At)})"
            : "";
        Prose(output, "    ", $"{value}{range}; readings cover {Number(criterion.Coverage * 100)} % of the time{weight}.");
        Prose(output, "    ", Answered(criterion));
        if (criterion.Probability is { } met)
            Prose(output, "    ", Likely(met, atMost: criterion.Reading == "every-hour"));
        if (criterion.Provisional)
            Prose(output, "    ", Provisional);
    }

    /// <summary>Never 0 or 100 %: what is rounded to either is not certain. Of several hours there is an upper bound only.</summary>
    private static string Likely(decimal met, bool atMost)
    {
        var percent = met switch
        {
            < 0.001m => "less than 0.1 %",
            > 0.999m => atMost ? "up to 100 %" : "more than 99.9 %",
            _ => $"{(atMost ? "at most " : "")}{Number(met * 100)} %",
        };
        return $"Probability that it is met, output not being below 0: {percent}.";
    }

    private static string Answered(CriterionReport criterion)
    {
        var threshold = $"{Precise(criterion.Threshold.Value)} {criterion.Threshold.Unit}";
        var hours = criterion.Reading == "every-hour";
        var other = criterion.Comparison switch
        {
            "<" => $"{threshold} or more",
            "<=" => $"more than {threshold}",
            _ => $"{threshold} or less",
        };
        return Slug.Read<Answer>(criterion.Answer) switch
        {
            Answer.Met => $"MET: {(hours ? "in every hour " : "")}the whole 95 % range is {Comparison(criterion.Comparison)} {threshold}.",
            Answer.NotMet => $"NOT MET: {(hours ? "in one hour at least " : "")}the whole 95 % range is {other}.",
            Answer.Indeterminate => $"CANNOT BE DECIDED: {(hours ? "in an hour at least " : "")}the 95 % range reaches across {threshold}.",
            Answer.NotEvaluable or null => $"CANNOT BE SAID: {Obstacles(criterion)}.",
        };
    }

    private static string Obstacles(CriterionReport criterion) =>
        criterion.Obstacles.Count == 0
            ? "there is no value"
            : string.Join(". ", criterion.Obstacles.Select((o, i) => Sentence(Irrigation.Words.Of(Slug.Read<Obstacle>(o)!.Value), i)));

    private static string Sentence(string text, int place) => place == 0 ? text : Capital(text);

    private static void Write(OpenReport open, TextWriter output)
    {
        var ran = open.IrrigantInstilled is { } irrigant
            ? $"{Number(irrigant.Value)} mL of irrigant run in"
            : "how much irrigant ran in is not known";
        output.WriteLine($"  {Span(open.Start, open.AsOf)}: {ran}.");
        if (open.ClampedSince is { } since)
            output.WriteLine($"  The drain is clamped since {When(since, open.Start)}.");
        Caveats(output, "  ", open.Caveats);
    }

    private static void Write(ForecastReport forecast, string asOf, TextWriter output)
    {
        var what = forecast.Kind switch
        {
            "bag-empty" => $"Bag on line {forecast.What} empty",
            "container-full" => $"Drainage container {forecast.What} to be emptied",
            NextIrrigation.Kind => forecast.What == "irrigation" ? "Next irrigation due" : $"Next dose of {forecast.What} due",
            _ => "Bladder at its limit",
        };
        var when = forecast is { In: { } time, At: { } at }
            ? time.Value == 0
                ? "NOW"
                : $"in {Length(time)}, at {When(Minute(at), asOf)}"
            : "cannot be told";
        output.WriteLine($"  {$"{what}:", -38} {when}");
        Prose(output, "    ", $"{Capital(forecast.Assumption)}.");
    }

    private static void Caveats(TextWriter output, string indent, IReadOnlyList<string> caveats)
    {
        if (caveats.Count > 0)
            Prose(output, $"{indent}Note: ", string.Join(" ", caveats.Select(caveat => $"{Capital(Caveat(caveat))}.")));
    }

    private static string Absent(string? reason) =>
        Slug.Read<AbsentReason>(reason) is { } known ? Irrigation.Words.Of(known) : "no reason is given";

    private static string Name(string criterion) => criterion == "prifle" ? Words(criterion) : Capital(Words(criterion));

    private static string Comparison(string comparison) => Irrigation.Words.Comparison(comparison);

    private static void Heading(TextWriter output, string title)
    {
        output.WriteLine();
        output.WriteLine(title);
        output.WriteLine(new string('=', title.Length));
    }

    /// <summary>Text broken at words, the following lines under the first one's beginning.</summary>
    private static void Prose(TextWriter output, string lead, string text)
    {
        var line = lead;
        var empty = true;
        foreach (var word in text.Split(' '))
        {
            if (!empty && line.Length + 1 + word.Length > Width)
            {
                output.WriteLine(line);
                (line, empty) = (new string(' ', lead.Length), true);
            }

            line += empty ? word : $" {word}";
            empty = false;
        }

        output.WriteLine(line);
    }

    private static OffsetDateTime Read(string time) => Times.Parse(time).Value;

    private static Duration Elapsed(string from, string to) => Read(to).ToInstant() - Read(from).ToInstant();

    private static string Day(string time) => Read(time).ToString("ddd d MMM", CultureInfo.InvariantCulture);

    private static string Clock(string time)
    {
        var read = Read(time);
        return read.ToString(read.Second == 0 ? "HH:mm" : "HH:mm:ss", CultureInfo.InvariantCulture);
    }

    /// <summary>
    /// A clock time, with its date where it is so far from what the reader has in mind that the clock alone could mislead.
    /// </summary>
    private static string When(string time, string near) =>
        Duration.FromHours(-12) < Elapsed(near, time) && Elapsed(near, time) < Duration.FromHours(12)
            ? Clock(time)
            : $"{Day(time)} {Clock(time)}";

    /// <summary>From when to when, for a heading: with dates.</summary>
    private static string Span(string from, string to) =>
        Span(from, to, $"{Day(from)} {Clock(from)}", Read(from).Date == Read(to).Date ? Clock(to) : $"{Day(to)} {Clock(to)}");

    /// <summary>From when to when, below a heading.</summary>
    private static string Span(string from, string to, string near) => Span(from, to, When(from, near), When(to, from));

    /// <summary>
    /// Where the clock was put forward or back in between, with the offsets, or an hour would seem to be missing or there twice.
    /// </summary>
    private static string Span(string from, string to, string start, string end) =>
        Read(from).Offset == Read(to).Offset ? $"{start} to {end}" : $"{start} ({Offset(from)}) to {end} ({Offset(to)})";

    private static string Offset(string time) => $"UTC{Read(time).Offset.ToString("m", CultureInfo.InvariantCulture)}";

    /// <summary>To the minute: a forecast is no more exact.</summary>
    private static string Minute(string time) => Times.Format((Read(time) + Duration.FromSeconds(30)).With(TimeAdjusters.TruncateToMinute));

    private static string Between(string from, string to) => Length(Elapsed(from, to));

    private static string Length(Amount hours) => Length(Duration.FromMinutes((double)(hours.Value * 60)));

    private static string Length(Duration time)
    {
        var minutes = (long)Math.Round(time.TotalMinutes);
        return minutes % 60 == 0 && minutes > 0 ? $"{minutes / 60} h"
            : minutes < 60 ? $"{minutes} min"
            : $"{minutes / 60} h {minutes % 60} min";
    }

    private static string Number(decimal value) => Signed(Math.Round(value, 1, MidpointRounding.AwayFromZero), "0.#");

    private static string Column(decimal value) => Signed(Math.Round(value, 1, MidpointRounding.AwayFromZero), "0.0").PadLeft(9);

    private static string Precise(decimal value) => Signed(value, "0.###");

    private static string InSum(decimal value) => value < 0 ? $"({Number(value)})" : Number(value);

    private static string Signed(decimal value, string format) => value.ToString(format, CultureInfo.InvariantCulture).Replace('-', '−');

    private static string Words(string slug) => Irrigation.Words.Of(slug);

    private static string Capital(string text) => Irrigation.Words.Capital(text);

    private static string Lower(string text) => char.ToLowerInvariant(text[0]) + text[1..];
}
