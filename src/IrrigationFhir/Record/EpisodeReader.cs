using System.Collections.Immutable;
using System.Text.Json;
using Irrigation.Episodes;
using IrrigationFhir.Model;
using NodaTime;
using NodaTime.Text;

namespace IrrigationFhir.Record;

/// <summary>Turns JSON into an episode's description: every problem at once, or none.</summary>
internal static class EpisodeReader
{
    /// <summary>Reads a description; null where something is wrong with it, and then <paramref name="problems"/> has grown.</summary>
    /// <param name="json">What was sent.</param>
    /// <param name="facilityZone">The zone to take where none is named.</param>
    /// <param name="problems">Grows.</param>
    public static EpisodeDefinition? Read(JsonElement json, DateTimeZone facilityZone, List<EntryProblem> problems)
    {
        if (json.ValueKind != JsonValueKind.Object)
        {
            problems.Add(EntryProblem.WrongType("episode", "no object", "an episode: a JSON object"));
            return null;
        }

        var before = problems.Count;
        var read = new EntryJson(json, "episode", problems);
        var identifier = Identifier(
            read.Inner("identifier")
                ?? read.Require("identifier", "the episode's identifier: {\"system\": …, \"value\": …}", (EntryJson?)null)
        );
        var patient = Pointer(
            read.Inner("patient")
                ?? read.Require("patient", "the patient: {\"identifier\": {\"system\": …, \"value\": …}}", (EntryJson?)null),
            problems
        );
        var encounter = read.Inner("encounter") is { } e ? Pointer(e, problems) : null;
        var (start, end) = (read.Time("start") ?? read.Require("start", "when the balance begins", Instant.MinValue), read.Time("end"));
        if (end <= start)
            problems.Add(EntryProblem.EndBeforeStart(read.At("end"), start, end!.Value));
        var frame = new EpisodeFrame(start, end, Zone(read, facilityZone, problems), Shifts(read, problems));
        var definition = new EpisodeDefinition(
            identifier ?? new("", ""),
            patient ?? new(null, null, null),
            encounter,
            Date(read, problems),
            read.Inner("catheter") is { } c ? CatheterOf(c) : null,
            read.Volume("bladderCapacity"),
            read.Text("spinalLevel", 20),
            read.Pressure("baselineSystolic"),
            read.Flag("duringProcedure") ?? false,
            frame,
            json.GetRawText()
        )
        {
            Location = read.Inner("location") is { } place ? LocationOf(place) : null,
            Facility = read.Text("facility", 64),
            Reason = read.Text("reason", 200),
            Risks = read.TextList("risks", 10, 200, "a few words each, like [\"takes an anticoagulant\"]"),
        };
        read.NothingElse("an episode");
        return problems.Count == before ? definition : null;
    }

    /// <summary>
    /// Refuses a bladder that holds nothing: no limit can be made of it. Null where it holds 1 mL or more, or nobody says.
    /// </summary>
    /// <remarks>
    /// Apart from <see cref="Read"/>, for episodes that were stored with one are to open still; their limits then go by age.
    /// </remarks>
    public static EntryProblem? NoCapacity(EpisodeDefinition definition)
    {
        if (definition.BladderCapacity is not { Millilitres: < 1 } capacity)
            return null;
        var saw = FormattableString.Invariant($"{capacity.Millilitres} mL");
        return EntryProblem.OutOfRange("episode.bladderCapacity", saw, "1 mL or more; leave it out where it is not known");
    }

    private static BusinessIdentifier? Identifier(EntryJson? read)
    {
        if (read is null)
            return null;
        var identifier = new BusinessIdentifier(
            read.RequiredText("system", 200, "the identifier's system, a URI"),
            read.RequiredText("value", 200, "the identifier's value")
        );
        read.NothingElse("an identifier");
        return identifier;
    }

    private static Pointer? Pointer(EntryJson? read, List<EntryProblem> problems)
    {
        if (read is null)
            return null;
        var pointer = new Pointer(Identifier(read.Inner("identifier")), read.Text("reference", 200), read.Text("display", 200));
        if (!read.Has("identifier") && !read.Has("reference"))
            problems.Add(EntryProblem.Missing(read.At("identifier"), "an identifier with system and value, or a reference"));
        read.NothingElse("a reference");
        return pointer;
    }

    private static Location LocationOf(EntryJson read)
    {
        var location = new Location(read.RequiredText("ward", 60, "the ward's name"), read.Text("room", 60), read.Text("bed", 60));
        read.NothingElse("a location");
        return location;
    }

    private static Catheter CatheterOf(EntryJson read)
    {
        var catheter = new Catheter(read.Text("type"), read.French("size"), read.Whole("lumens", 1, 3), read.Time("insertedAt"));
        read.NothingElse("a catheter");
        return catheter;
    }

    private static LocalDate? Date(EntryJson read, List<EntryProblem> problems)
    {
        if (read.Text("birthDate") is not { } text)
            return null;
        if (LocalDatePattern.Iso.Parse(text) is { Success: true } date)
            return date.Value;
        problems.Add(EntryProblem.UnknownWord(read.At("birthDate"), text, ["a date like 1951-07-30"]));
        return null;
    }

    private static DateTimeZone Zone(EntryJson read, DateTimeZone facilityZone, List<EntryProblem> problems)
    {
        if (read.Text("timeZone") is not { } id)
            return facilityZone;
        if (DateTimeZoneProviders.Tzdb.GetZoneOrNull(id) is { } zone)
            return zone;
        problems.Add(EntryProblem.UnknownWord(read.At("timeZone"), id, ["an IANA time zone like Europe/Vienna"]));
        return facilityZone;
    }

    private static ImmutableArray<LocalTime> Shifts(EntryJson read, List<EntryProblem> problems)
    {
        if (!read.Has("shiftStarts"))
            return [];
        var starts = (read.Texts("shiftStarts", 1, "clock times like [\"07:00\", \"19:00\"]") ?? "").Split(
            ", ",
            StringSplitOptions.RemoveEmptyEntries
        );
        var times = ImmutableArray.CreateBuilder<LocalTime>();
        foreach (var start in starts)
        {
            if (LocalTimePattern.CreateWithInvariantCulture("HH:mm").Parse(start) is { Success: true } time)
                times.Add(time.Value);
            else
                problems.Add(EntryProblem.UnknownWord(read.At("shiftStarts"), start, ["clock times like 07:00"]));
        }

        times.Sort();
        return times.ToImmutable();
    }
}
