using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>Writes the rows of a new version, and of those only what is other than it was.</summary>
/// <param name="partition">Of the patient whose resource it is.</param>
/// <param name="draft">The resource.</param>
/// <param name="times">When it happened, and other times.</param>
/// <param name="about">Whom it is about, or null.</param>
internal sealed class ResourceRows(PatientPartition partition, ResourceDraft draft, DraftTimes times, ReferenceKey? about)
{
    /// <summary>Columns that indexes are kept of.</summary>
    public static IReadOnlyList<string> Indexed { get; } = ["date_from", "date_to", "status", "codes"];

    private const string ByNumber = "where patient = @patient and number = @number";

    private readonly PreparedStatements _statements = partition.Statements;

    /// <summary>Writes.</summary>
    /// <param name="before">How it stood; version 0 where it did not.</param>
    /// <param name="after">How it stands now.</param>
    /// <param name="json">The new version, packed.</param>
    public void Write(ResourcePlace before, ResourcePlace after, byte[] json)
    {
        var isNew = before.VersionId == 0;
        var said = isNew ? StoredReferences.None : StoredReferences.Of(Before(before));
        WriteVersion(
            partition,
            IndexedTypes.NumberOf(draft.Type),
            after.Number,
            after.VersionId,
            after.LastUpdated,
            isNew ? null : before.LastUpdated,
            json
        );
        WriteCurrent(before, after, isNew);
        WriteLinks(said.Links, after.Number);
        WriteComponents(after.Number, isNew);
        WriteIdentifiers(said.Identifiers, after.Number);
        WriteTimes(after.Number, isNew);
    }

    /// <summary>Writes what a version that is stored already is found by.</summary>
    public void WriteAgain(ResourcePlace place)
    {
        WriteCurrent(new(place.Number), place, isNew: true);
        WriteLinks([], place.Number);
        WriteComponents(place.Number, isNew: true);
        WriteIdentifiers([], place.Number);
        WriteTimes(place.Number, isNew: true);
    }

    /// <summary>Writes a version; those of a resource in their order.</summary>
    public static void WriteVersion(PatientPartition partition, long type, long number, long version, long at, long? before, byte[] json) =>
        partition.Statements.Execute(
            """
            insert into resource_version (at, patient, type, number, version_id, version_before, json)
            values (@at, @patient, @type, @number, @version, @before, @json)
            """,
            ("at", at),
            ("patient", partition.Patient),
            ("type", type),
            ("number", number),
            ("version", version),
            ("before", before),
            ("json", json)
        );

    private byte[] Before(ResourcePlace before) =>
        _statements.Find(
            "select json from resource_version where at = @at and patient = @patient and type = @type and number = @number",
            row => StoredJson.UnpackUtf8(row.Bytes(0)),
            ("at", before.LastUpdated),
            ("patient", partition.Patient),
            ("type", IndexedTypes.NumberOf(draft.Type)),
            ("number", before.Number)
        ) ?? throw new InvalidOperationException("a current resource without its version");

    private void WriteCurrent(ResourcePlace before, ResourcePlace after, bool isNew)
    {
        after.Indexed = [times.Date?.From ?? long.MaxValue, times.Date?.To, draft.Status, partition.NumberOf(draft.Codes)];
        // An index of a column that is set is written whatever the value: what stays as it is is not set.
        var indexed = Indexed.Zip(after.Indexed).Where((column, i) => isNew || !Equals(column.Second, before.Indexed[i]));
        (string, object?)[] values =
        [
            ("patient", partition.Patient),
            ("number", after.Number),
            ("version_id", after.VersionId),
            ("last_updated", after.LastUpdated),
            ("labels", partition.NumberOf(draft.Labels)),
            ("about", partition.NumberOf(References())),
            ("measure", draft.Measure?.Number),
            ("amount", draft.Measure?.Amount),
            ("unit", draft.Measure?.Unit),
            ("content_hash", after.ContentHash),
            .. indexed,
        ];
        if (isNew)
            values = [.. values, ("type", IndexedTypes.NumberOf(draft.Type)), ("id", draft.Id)];
        var names = values.Select(value => value.Item1).ToList();
        _statements.Execute(
            isNew
                ? $"insert into resource ({string.Join(", ", names)}) values ({string.Join(", ", names.Select(name => $"@{name}"))})"
                : $"update resource set {string.Join(", ", names.Skip(2).Select(name => $"{name} = @{name}"))} {ByNumber}",
            values
        );
    }

    private SharedSet<IndexedReference>? References()
    {
        var shared = draft
            .References.Where(one => one.Parameter.Link == 0)
            .Select(one => new IndexedReference(one.Parameter.Name, one.Key));
        return SharedSet<IndexedReference>.Of(about is { } subject ? shared.Append(new(PatientPartition.Subject, subject)) : shared);
    }

    private void WriteLinks(HashSet<(int Parameter, ReferenceKey Key)> before, long number)
    {
        var after = draft.References.Where(one => one.Parameter.Link > 0).Select(one => (one.Parameter.Link, one.Key)).ToHashSet();
        foreach (var (parameter, key) in before.Except(after))
        {
            // It may have been written before what it points at was.
            foreach (var target in new[] { Target(key), -partition.Known(Alone(parameter, key)) })
                Execute(
                    """
                    delete from resource_link
                    where patient = @patient and parameter = @parameter and target = @target and number = @number
                    """,
                    parameter,
                    target ?? 0,
                    number
                );
        }

        foreach (var (parameter, key) in after.Except(before))
        {
            Execute(
                """
                insert into resource_link (patient, parameter, target, number) values (@patient, @parameter, @target, @number)
                on conflict do nothing
                """,
                parameter,
                Target(key) ?? -partition.NumberOf(Alone(parameter, key)),
                number
            );
        }
    }

    // A reference that also says an identifier is looked for by that too, so that it stands as it was said.
    private long? Target(ReferenceKey key) => key.Identifier is null ? partition.NumberAt(key.Target) : null;

    private static SharedSet<IndexedReference> Alone(int parameter, ReferenceKey key) =>
        SharedSet<IndexedReference>.Of([new(IndexedParameter.Reference.Links[parameter - 1].Name, key)])!;

    private void Execute(string sql, int parameter, long target, long number) =>
        _statements.Execute(sql, ("patient", partition.Patient), ("parameter", parameter), ("target", target), ("number", number));

    private void WriteComponents(long number, bool isNew)
    {
        var before = isNew
            ? []
            : _statements
                .All(
                    $"select part, measure, amount, unit from resource_component {ByNumber}",
                    row => (Part: (int)row.Number(0), Quantity: new IndexedQuantity(row.Text(1), row.TextOrNull(2), row.TextOrNull(3))),
                    ("patient", partition.Patient),
                    ("number", number)
                )
                .ToDictionary(row => row.Part, row => row.Quantity);
        foreach (var part in before.Keys.Except(draft.Components.Keys))
        {
            _statements.Execute(
                $"delete from resource_component {ByNumber} and part = @part",
                ("patient", partition.Patient),
                ("number", number),
                ("part", part)
            );
        }

        foreach (var (part, quantity) in draft.Components)
        {
            if (before.TryGetValue(part, out var there) && there == quantity)
                continue;
            _statements.Execute(
                """
                insert into resource_component (patient, number, part, measure, amount, unit)
                values (@patient, @number, @part, @measure, @amount, @unit)
                on conflict (patient, number, part) do update
                set measure = excluded.measure, amount = excluded.amount, unit = excluded.unit
                """,
                ("patient", partition.Patient),
                ("number", number),
                ("part", part),
                ("measure", quantity.Number),
                ("amount", quantity.Amount),
                ("unit", quantity.Unit)
            );
        }
    }

    private void WriteIdentifiers(HashSet<Token> before, long number)
    {
        foreach (var gone in before.Except(draft.Identifiers))
        {
            Execute(
                "delete from resource_identifier where value = @value and system = @system and patient = @patient and number = @number",
                gone
            );
        }

        foreach (var identifier in draft.Identifiers.Except(before))
        {
            Execute(
                "insert into resource_identifier (value, system, patient, number) values (@value, @system, @patient, @number)",
                identifier
            );
        }

        void Execute(string sql, Token token) =>
            _statements.Execute(
                sql,
                ("value", token.Value),
                ("system", partition.NumberOf(SharedSet<IndexedCoding>.Of([new(IndexedTypes.Identifier, 0, token with { Value = "" })]))),
                ("patient", partition.Patient),
                ("number", number)
            );
    }

    private void WriteTimes(long number, bool isNew)
    {
        HashSet<(string, TimeRange)> before = isNew
            ? []
            :
            [
                .. _statements.All(
                    $"select parameter, date_from, date_to from resource_time {ByNumber}",
                    row => (row.Text(0), new TimeRange(row.Number(1), row.Number(2))),
                    ("patient", partition.Patient),
                    ("number", number)
                ),
            ];
        const string Same = "parameter = @parameter and date_from = @from and date_to = @to";
        foreach (var gone in before.Except(times.Others))
            Execute($"delete from resource_time {ByNumber} and {Same}", gone);
        foreach (var time in times.Others.Except(before))
        {
            Execute(
                """
                insert into resource_time (patient, number, parameter, date_from, date_to)
                values (@patient, @number, @parameter, @from, @to)
                """,
                time
            );
        }

        void Execute(string sql, (string Parameter, TimeRange Range) time) =>
            _statements.Execute(
                sql,
                ("patient", partition.Patient),
                ("number", number),
                ("parameter", time.Parameter),
                ("from", time.Range.From),
                ("to", time.Range.To)
            );
    }
}
