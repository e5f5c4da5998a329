namespace Irrigation.Episodes;

/// <summary>Where an entry is filed, so that the balance finds its neighbours without walking the log.</summary>
public static class Channel
{
    /// <summary>Every reading that says what left the bladder: these close intervals.</summary>
    public const string BladderOutput = "bladder-output";

    /// <summary>Urine, free of irrigant, out of the bladder: evidence that nothing was irrigated just before.</summary>
    public const string BladderUrine = "bladder-urine";

    /// <summary>What was given by the aliquot: cycles of an intermittent or open irrigation.</summary>
    public const string Aliquot = "aliquot";

    /// <summary>Clamp on and off.</summary>
    public const string Clamp = "clamp";

    /// <summary>Bladder scans.</summary>
    public const string Scan = "scan";

    /// <summary>Leaks.</summary>
    public const string Leak = "leak";

    /// <summary>Blood and clots removed.</summary>
    public const string Blood = "blood";

    /// <summary>Readings that somebody confirmed, filed at the time of the confirmation.</summary>
    public const string Confirmed = "confirmed";

    /// <summary>Versions that were superseded or entered in error, at the time they spoke of: what stands there is a correction.</summary>
    public const string Withdrawn = "withdrawn";

    /// <summary>Everything about the patient that is in force.</summary>
    public const string Everything = "everything";

    private const string LinePrefix = "line ";
    private const string ContainerPrefix = "container ";

    /// <summary>Bags hung, read and taken down on a line.</summary>
    public static string Bag(string line) => $"bag {line}";

    /// <summary>Pump counters of a line.</summary>
    public static string Pump(string line) => $"pump {line}";

    /// <summary>Totals charted for a line.</summary>
    public static string Total(string line) => $"total {line}";

    /// <summary>Flow settings of a line.</summary>
    public static string Flow(string line) => $"flow {line}";

    /// <summary>Syringes given through a line.</summary>
    public static string Syringe(string line) => $"syringe {line}";

    /// <summary>Readings of one drainage container.</summary>
    public static string Container(string container) => ContainerPrefix + container;

    /// <summary>When a drainage container was taken away.</summary>
    public static string TakenAway(string container) => $"taken away {container}";

    /// <summary>What of a line's irrigant never reached the bladder.</summary>
    public static string Discarded(string line) => $"discarded {line}";

    /// <summary>Urine from a route that does not pass the bladder.</summary>
    public static string Route(UrineRoute route) => $"route {Slug.Of(route)}";

    /// <summary>Everything of one line; its existence names the line.</summary>
    public static string Line(string line) => LinePrefix + line;

    /// <summary>The lines that have entries, in the order of their names.</summary>
    public static IReadOnlyList<string> Lines(EpisodeLog log) => log.Names.Lines;

    /// <summary>The drainage containers that have readings, in the order of their names.</summary>
    public static IReadOnlyList<string> Containers(EpisodeLog log) => log.Names.Containers;

    /// <summary>The line that a channel names; null for any other channel.</summary>
    internal static string? LineOf(string channel) => After(channel, LinePrefix);

    /// <summary>The container that a channel is of; null for any other channel.</summary>
    internal static string? ContainerOf(string channel) => After(channel, ContainerPrefix);

    private static string? After(string channel, string prefix) =>
        channel.StartsWith(prefix, StringComparison.Ordinal) ? channel[prefix.Length..] : null;

    /// <summary>Whether an entry is about a line.</summary>
    public static bool IsIrrigant(Entry entry) => Of(entry).Any(c => c.StartsWith(LinePrefix, StringComparison.Ordinal));

    /// <summary>The channels of an entry; none for one that is not about the patient, so that tests never alter a clinical total.</summary>
    public static IEnumerable<string> Of(Entry? entry) =>
        entry is null or EnteredInError or { Header.Purpose: not Purpose.Clinical } ? [] : Filed(entry).Append(Everything);

    private static string[] Filed(Entry entry) =>
        entry switch
        {
            BagHung e => [Bag(e.Line), Line(e.Line)],
            BagRead e => [Bag(e.Line), Line(e.Line)],
            BagTakenDown e => [Bag(e.Line), Line(e.Line)],
            PumpTotalRead e => [Pump(e.Line), Line(e.Line)],
            FlowSet e => [Flow(e.Line), Line(e.Line)],
            IrrigantDiscarded e => [Discarded(e.Line), Line(e.Line)],
            IrrigantInstilled { AtOnce: true } e => [Syringe(e.Line), Line(e.Line), Aliquot],
            IrrigantInstilled { IsAliquot: true } e => [Total(e.Line), Line(e.Line), Aliquot],
            IrrigantInstilled e => [Total(e.Line), Line(e.Line)],
            DrainageEmptied e => [Container(e.Container), BladderOutput],
            DrainageLevelRead e => [Container(e.Container), BladderOutput],
            DrainageWeighed e => [Container(e.Container), BladderOutput],
            UrineCollected { FromBladder: true } => [BladderUrine, BladderOutput],
            UrineCollected e => [Route(e.Route)],
            DrainClamped or DrainReleased => [Clamp],
            BladderScanned => [Scan],
            LeakEstimated => [Leak],
            ContainerTakenAway e => [TakenAway(e.Container)],
            BloodRemoved => [Blood],
            ReadingConfirmed => [Confirmed],
            _ => [entry.Kind],
        };
}

/// <summary>What the channels of a log say is there.</summary>
internal sealed class ChannelNames(IEnumerable<string> channels)
{
    /// <summary>Lines that have entries.</summary>
    public IReadOnlyList<string> Lines { get; } = In(channels.Select(Channel.LineOf));

    /// <summary>Drainage containers that have readings.</summary>
    public IReadOnlyList<string> Containers { get; } = In(channels.Select(Channel.ContainerOf));

    private static string[] In(IEnumerable<string?> names) => [.. names.OfType<string>().Order(StringComparer.Ordinal)];
}
