using Irrigation.Episodes;
using NodaTime;

namespace Irrigation.Flags;

/// <summary>Something that the record of an irrigation needs.</summary>
/// <param name="Name">What, in the trade's words.</param>
/// <param name="IsRecorded">Whether it is there. What was charted as not assessed counts; what was left blank does not.</param>
/// <param name="Trigger">Why it is needed: <c>always</c>, or what asked for it.</param>
public sealed record RecordItem(string Name, bool IsRecorded, string Trigger);

/// <summary>
/// Whether the record is complete: what is always needed, and what the method and the course ask for (src/Irrigation/README.md, section 8).
/// </summary>
public static class CompleteRecord
{
    private const string Always = "always";
    private const int MostInSentence = 5;

    /// <summary>Every item that is needed at a bedside, in the order of the record.</summary>
    public static IEnumerable<RecordItem> Of(Bedside bedside)
    {
        var (log, facts, inForce) = (bedside.Log, bedside.Facts, Orders.Latest(bedside.Log, bedside.At));
        var order = inForce?.Terms;
        var began = OrderMismatch.Began(bedside) ?? log.Frame.Start;
        var catheter = bedside.Last<CatheterInserted>();
        var looks = log[Slug.Of(nameof(DrainageAppearance))];
        bool Looked(Func<DrainageAppearance, bool> said) =>
            looks.Before(bedside.At + Duration.Epsilon).Cast<DrainageAppearance>().Take(50).Any(said);
        var lastRead = log[Channel.BladderOutput].LastAtOrBefore(bedside.At);
        var feltBefore =
            log[Slug.Of(nameof(BladderPalpated))].LastAtOrBefore(began + bedside.Balance.Settings.ScanReach)
            ?? log[Channel.Scan].LastAtOrBefore(began + bedside.Balance.Settings.ScanReach);

        yield return new("two identifiers checked", IdentityChecked(bedside), Always);
        yield return new("encounter", facts.HasEncounter, Always);
        yield return new("order: reference", order?.Order is not null, Always);
        yield return new("order: method", order?.Method is not null, Always);
        yield return new("order: solution", order?.Solution is not null, Always);
        yield return new(
            "order: volume or flow",
            order?.Amount is not null || order?.AtLeast is not null || order?.AtMost is not null,
            Always
        );
        yield return new("order: frequency", order?.Frequency is not null || order?.Method is "continuous", Always);
        yield return new("order: target", order?.Target is not null, Always);
        yield return new(
            "performer",
            lastRead is null || lastRead.Header.Performer is not null || lastRead.Header.Device is not null,
            Always
        );
        yield return new("catheter: type", (catheter?.Type ?? facts.CatheterType.Type) is not null, Always);
        yield return new("catheter: size", (catheter?.French ?? facts.CatheterType.French) is not null, Always);
        yield return new("catheter: lumens", (catheter?.Lumens ?? facts.CatheterType.Lumens) is not null, Always);
        yield return new("solution", Irrigants.InUse(bedside) is not null, Always);
        yield return new("amount instilled", bedside.Lines.Any(line => HasAmount(log, line)), Always);
        yield return new("amount drained", lastRead is not null, Always);
        yield return new(
            "drainage: colour, with its scale",
            Looked(look => look.Colour is not null || (look.Grade is not null && look.Scale is not null)),
            Always
        );
        yield return new("drainage: clarity", Looked(look => look.Clarity is not null), Always);
        yield return new("drainage: clots", Looked(look => look.Clots is not null), Always);
        yield return new("drainage: mucus", Looked(look => look.Mucus is not null), Always);
        yield return new("drainage: sediment", Looked(look => look.Sediment is not null), Always);
        yield return new("bladder felt or scanned before", feltBefore is not null, Always);
        yield return new("pain", Noted(bedside, noted => noted.Pain is not null), Always);
        yield return new("spasm", Noted(bedside, noted => noted.Spasm is not null), Always);
        foreach (var item in Continuous(bedside))
            yield return item;
        foreach (var item in Triggered(bedside, inForce))
            yield return item;
        foreach (var item in RunRecord.OfLatest(bedside))
            yield return item;
    }

    /// <summary>
    /// Items in words, a sentence or more: what stands alone, then what belongs to one thing together: <c>Order: method, target</c>.
    /// </summary>
    /// <param name="items">The items.</param>
    public static string Says(IEnumerable<RecordItem> items)
    {
        var named = items.Select(item => item.Name.Split(": ", 2)).ToList();
        var alone = named
            .Where(name => name.Length == 1)
            .Select(name => name[0].Replace(", ", " ", StringComparison.Ordinal))
            .Chunk(MostInSentence);
        var together = named
            .Where(name => name.Length == 2)
            .GroupBy(
                name => name[0],
                name => name[1].Replace(", ", " ", StringComparison.Ordinal).Replace(": ", " ", StringComparison.Ordinal)
            )
            .SelectMany(thing => thing.Chunk(MostInSentence).Select(some => $"{thing.Key}: {string.Join(", ", some)}"));
        return string.Join(
            ". ",
            alone.Select(some => string.Join(", ", some)).Concat(together).Select((said, place) => place == 0 ? said : Words.Capital(said))
        );
    }

    /// <summary>Whether two identifiers were checked.</summary>
    internal static bool IdentityChecked(Bedside bedside) =>
        bedside.Last<IdentityChecked>() is { } check
        && check.Identifiers.Split([',', ';', ' '], StringSplitOptions.RemoveEmptyEntries).Length >= 2;

    private static IEnumerable<RecordItem> Continuous(Bedside bedside)
    {
        const string trigger = "continuous irrigation";
        foreach (var line in bedside.Lines.Where(line => bedside.Log[Channel.Bag(line)].Count > 0))
        {
            var flows = bedside.Log[Channel.Flow(line)];
            yield return new($"line {line}: flow or drops", flows.Count > 0 || bedside.Log[Channel.Pump(line)].Count > 0, trigger);
            if (
                Titration
                    .Of(bedside.Log, line, bedside.At - Duration.FromDays(1), bedside.At)
                    .Any(change => change.From is not null && change.Before is null && change.Reason is null)
            )
            {
                yield return new($"line {line}: reason of each change of flow", false, trigger);
            }
        }
    }

    private static IEnumerable<RecordItem> Triggered(Bedside bedside, OrderInForce? inForce)
    {
        var order = inForce?.Terms;
        if (inForce?.Entries.Any(entry => entry.OrderedHow is OrderedHow.Telephone or OrderedHow.TelephoneReadBack) == true)
        {
            yield return new(
                "read-back of the telephone order",
                inForce.Entries.All(entry => entry.OrderedHow is not OrderedHow.Telephone),
                "an order by telephone"
            );
        }

        if (bedside.Log[Channel.Clamp].Count > 0)
        {
            yield return new("ordered dwell", order?.Dwell is not null, "a dwell");
            yield return new("presence during the dwell", AttendedLastDwell(bedside), "a dwell");
        }

        if (order?.Method is "open")
            yield return new("closed system opened, and why", bedside.Last<ClosedSystemOpened>() is not null, "open irrigation");
        if (bedside.Last<WashoutPerformed>() is { } washout)
            yield return new("washout: cycles", washout.Cycles is not null, "a washout");
        if (order?.Additive is { } additive)
            yield return new(
                "drug: lot and expiry, as a note of the bag or the order",
                inForce!.Entries.Any(entry => entry.Header.Note is not null)
                    || Irrigants.Hanging(bedside).Any(bag => bag.Header.Note is not null)
                    || bedside.Log[Channel.Aliquot].LastAtOrBefore(bedside.At) is IrrigantInstilled { Lot: not null, Expiry: not null },
                $"{additive} added"
            );
        if (bedside.Standing("outflow-deficit") is { } deficit)
        {
            var told = bedside.Last<Escalated>()?.At >= deficit.Start || bedside.Last<WashoutPerformed>()?.At >= deficit.Start;
            yield return new("action taken and who was told", told, "an outflow deficit");
        }

        yield return new("date of birth", bedside.Facts.Patient.BirthDate is not null, "thresholds by age");
        yield return new("weight, with its date", bedside.Last<WeightMeasured>() is not null, "rates by weight");
    }

    /// <summary>Whether somebody was there throughout the last dwell, over or not.</summary>
    private static bool AttendedLastDwell(Bedside bedside)
    {
        var clamps = bedside.Log[Channel.Clamp];
        var i = clamps.FirstAfter(bedside.At) - 1;
        var released = clamps.At(i) is DrainReleased release ? release.At : bedside.At;
        while (i >= 0 && clamps[i] is DrainReleased)
            i--;
        return i < 0 || DwellUnattended.Attended(bedside, clamps[i].At, released);
    }

    private static bool HasAmount(EpisodeLog log, string line) =>
        log[Channel.Bag(line)].Count > 0
        || log[Channel.Pump(line)].Count > 0
        || log[Channel.Total(line)].Count > 0
        || log[Channel.Syringe(line)].Count > 0;

    private static bool Noted(Bedside bedside, Func<ToleranceNoted, bool> said) =>
        bedside.Log[Slug.Of(nameof(ToleranceNoted))].Before(bedside.At + Duration.Epsilon).Cast<ToleranceNoted>().Take(50).Any(said);
}
