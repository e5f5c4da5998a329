using System.Text.Json;
using System.Text.Json.Nodes;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using IrrigationFhir.Model;
using IrrigationFhir.Record;
using IrrigationFhir.Tests.Repository;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Tests.BedsideCases;

/// <summary>A story with its entries, read as they would be posted, and what the product makes of it.</summary>
internal sealed class BedsideCase
{
    private readonly EpisodeDefinition definition;
    private readonly List<Entry> entries;

    private BedsideCase(EpisodeDefinition definition, IEnumerable<Entry> entries) =>
        (this.definition, this.entries) = (definition, [.. entries]);

    /// <summary>What is charted, in order of time.</summary>
    public IReadOnlyList<Entry> Entries => entries;

    /// <summary>The intervals of the bladder.</summary>
    public IReadOnlyList<ClosedInterval> Intervals => Balance[FluidBalance.Bladder];

    /// <summary>The balance of all that is charted.</summary>
    public FluidBalance Balance =>
        FluidBalance.Of(EpisodeLog.Empty(definition.Frame).Append(entries, definition.Frame.Start).Log, BalanceSettings.Default);

    /// <summary>Reads one from the folder beside this file.</summary>
    public static BedsideCase Read(string name)
    {
        var json = JsonNode.Parse(Repo.Read($"tests/IrrigationFhir.Tests/BedsideCases/{name}.json"))!;
        var problems = new List<EntryProblem>();
        var definition = EpisodeReader.Read(Element(json["episode"]!), DateTimeZone.Utc, problems);
        var entries = json["entries"]!.AsArray().Select((entry, i) => EntryReader.Read(Element(entry!), $"entries[{i}]", problems)!.Entry);
        var story = new BedsideCase(definition!, entries);
        Assert.Empty(problems);
        return story;
    }

    /// <summary>The same with more entries, or without some.</summary>
    public BedsideCase With(Func<IEnumerable<Entry>, IEnumerable<Entry>> other) => new(definition, other(entries));

    /// <summary>The interval that ends at a clock time.</summary>
    public ClosedInterval Until(string time) => Intervals.Single(i => i.End == At(time));

    /// <summary>The flags as they would have stood.</summary>
    public FlagRecord Flags(string asOf) => FlagRecord.Of(Balance, definition.Facts, FlagLimits.Default, At(asOf));

    /// <summary>When a flag was first there; null where it never was by then.</summary>
    public Instant? Raised(string slug, string asOf)
    {
        var record = Flags(asOf);
        return record.Ended.Concat(record.Standing).Where(f => f.Slug == slug).Min(f => (Instant?)f.Start);
    }

    /// <summary>A moment, e.g. <c>2026-03-10T12:00:00Z</c>.</summary>
    public static Instant At(string time) => InstantPattern.General.Parse(time).Value;

    private static JsonElement Element(JsonNode node) => JsonDocument.Parse(node.ToJsonString()).RootElement;
}
