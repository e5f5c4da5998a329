using System.Collections.Immutable;
using System.IO.Compression;
using System.Text.Json;
using System.Text.Json.Serialization;
using System.Text.Json.Serialization.Metadata;
using Irrigation.Criteria;
using Irrigation.Flags;
using Irrigation.Measures;
using NodaTime;
using NodaTime.Serialization.SystemTextJson;

namespace IrrigationFhir.Record;

/// <summary>What an episode remembers as compressed JSON. Only ever read by the program that wrote it.</summary>
/// <remarks>
/// A rule mostly stands as it stood at the moment before: each state is written once, and moments name states by their place.
/// </remarks>
internal static class RememberedJson
{
    /// <summary>How numbers are written: those that JSON has no sign for by their names.</summary>
    public const JsonNumberHandling Numbers = JsonNumberHandling.AllowNamedFloatingPointLiterals;

    private static readonly JsonSerializerOptions Options = new()
    {
        DefaultIgnoreCondition = JsonIgnoreCondition.WhenWritingNull,
        IgnoreReadOnlyProperties = true,
        IncludeFields = true, // the ends of an interval are a tuple
        NumberHandling = Numbers,
        Converters = { NodaConverters.InstantConverter, NodaConverters.IntervalConverter, new BodyWeightConverter() },
        TypeInfoResolver = RememberedContext.Default.WithAddedModifier(NameFindings),
    };

    private static readonly JsonTypeInfo<KeptEpisode> OfEpisode = (JsonTypeInfo<KeptEpisode>)Options.GetTypeInfo(typeof(KeptEpisode));
    private static readonly JsonTypeInfo<RuleState> OfState = (JsonTypeInfo<RuleState>)Options.GetTypeInfo(typeof(RuleState));

    /// <summary>A finding is one of three.</summary>
    private static void NameFindings(JsonTypeInfo type)
    {
        if (type.Type != typeof(Finding))
            return;
        type.PolymorphismOptions = new()
        {
            DerivedTypes = { new(typeof(Finding.Raised), "r"), new(typeof(Finding.NotRaised), "n"), new(typeof(Finding.Undecided), "u") },
        };
    }

    /// <summary>Written.</summary>
    public static byte[] Write(Remembered remembered)
    {
        using var packed = new MemoryStream();
        using (var brotli = new BrotliStream(packed, new BrotliCompressionOptions { Quality = 4 }))
            JsonSerializer.Serialize(brotli, Kept(remembered), OfEpisode);
        return packed.ToArray();
    }

    /// <summary>The same for people.</summary>
    public static string Text(Remembered remembered) => JsonSerializer.Serialize(Kept(remembered), OfEpisode);

    private static KeptEpisode Kept(Remembered remembered)
    {
        var (flags, states) = (remembered.Flags, new States());
        return new(
            flags.AsOf,
            states.Places(flags.States),
            [.. flags.Earlier.Select(moment => new KeptMoment(moment.AsOf, states.Places(moment.States), moment.Ended))],
            states.All,
            flags.Ended,
            remembered.Criteria
        );
    }

    /// <summary>Read; null where it cannot be.</summary>
    public static Remembered? Read(byte[] content)
    {
        try
        {
            using var brotli = new BrotliStream(new MemoryStream(content), CompressionMode.Decompress);
            var kept = JsonSerializer.Deserialize(brotli, OfEpisode)!;
            ImmutableArray<RuleState> At(ImmutableArray<int> places) => [.. places.Select(place => kept.States[place])];
            return new(
                new(
                    kept.AsOf,
                    At(kept.Now),
                    kept.Ended,
                    [.. kept.Earlier.Select(moment => new RememberedMoment(moment.AsOf, At(moment.States), moment.Ended))]
                ),
                kept.Criteria
            );
        }
        catch (Exception failure) when (failure is JsonException or InvalidOperationException or IOException)
        {
            return null;
        }
    }

    /// <summary>The states of rules, each once.</summary>
    private sealed class States
    {
        private readonly Dictionary<string, int> places = [];
        private readonly ImmutableArray<RuleState>.Builder states = ImmutableArray.CreateBuilder<RuleState>();

        public ImmutableArray<RuleState> All => states.ToImmutable();

        public ImmutableArray<int> Places(ImmutableArray<RuleState> of) => [.. of.Select(Place)];

        private int Place(RuleState state)
        {
            var written = JsonSerializer.Serialize(state, OfState);
            if (!places.TryGetValue(written, out var place))
            {
                places[written] = place = states.Count;
                states.Add(state);
            }

            return place;
        }
    }

    private sealed class BodyWeightConverter : JsonConverter<BodyWeight>
    {
        public override BodyWeight Read(ref Utf8JsonReader reader, Type typeToConvert, JsonSerializerOptions options)
        {
            var parts = reader.GetString()!.Split(' ');
            return new(decimal.Parse(parts[0], Invariant), Enum.Parse<WeightKind>(parts[1]));
        }

        public override void Write(Utf8JsonWriter writer, BodyWeight value, JsonSerializerOptions options) =>
            writer.WriteStringValue($"{value.Kilograms.ToString(Invariant)} {value.Kind}");

        private static System.Globalization.CultureInfo Invariant => System.Globalization.CultureInfo.InvariantCulture;
    }
}

/// <summary>What an episode remembers, as it is written.</summary>
/// <param name="AsOf">Up to when its flags go.</param>
/// <param name="Now">How each rule stands: places in <paramref name="States"/>.</param>
/// <param name="Earlier">Where a late entry begins again.</param>
/// <param name="States">Every state of any rule at any of these moments.</param>
/// <param name="Ended">Flags that ended.</param>
/// <param name="Criteria">What every criterion answered.</param>
internal sealed record KeptEpisode(
    Instant AsOf,
    ImmutableArray<int> Now,
    ImmutableArray<KeptMoment> Earlier,
    ImmutableArray<RuleState> States,
    ImmutableList<FlagPeriod> Ended,
    ImmutableArray<CriterionHistory> Criteria
);

/// <summary>An earlier moment.</summary>
internal sealed record KeptMoment(Instant AsOf, ImmutableArray<int> States, int Ended);

/// <summary>How it is written, worked out when this is built.</summary>
[JsonSourceGenerationOptions(GenerationMode = JsonSourceGenerationMode.Metadata)]
[JsonSerializable(typeof(KeptEpisode))]
[JsonSerializable(typeof(RuleState))]
[JsonSerializable(typeof(Finding.Raised))]
[JsonSerializable(typeof(Finding.NotRaised))]
[JsonSerializable(typeof(Finding.Undecided))]
internal sealed partial class RememberedContext : JsonSerializerContext;
