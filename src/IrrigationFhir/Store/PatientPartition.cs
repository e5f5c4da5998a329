using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>A resource as it stands in the store: its row of <c>resource</c>, without what follows from the type and the id.</summary>
internal sealed record ResourcePlace(long Number)
{
    /// <summary>0 where it is not stored yet.</summary>
    public long VersionId { get; set; }

    /// <summary>When the current version was stored.</summary>
    public long LastUpdated { get; set; }

    /// <summary>Fingerprint of the content; empty where it is not stored yet.</summary>
    public byte[] ContentHash { get; set; } = [];

    /// <summary>What indexes are kept of, in the order of <see cref="ResourceRows.Indexed"/>.</summary>
    public IReadOnlyList<object?> Indexed { get; set; } = [];
}

/// <summary>What the one who writes looks up among the rows of a patient, and the numbers that are handed out there.</summary>
/// <remarks>
/// Numbers go on from the greatest of the partition. Here one thread writes; where several may, each takes the patient's lock first, or
/// two of them would hand out the same.
/// </remarks>
internal sealed class PatientPartition(PreparedStatements statements, string patientKey)
{
    private readonly Dictionary<(string Type, string Id), ResourcePlace> _known = [];
    private readonly Dictionary<string, long?> _numbers = [];
    private long? _last;

    /// <summary>Statements of the transaction.</summary>
    public PreparedStatements Statements => statements;

    /// <summary>Which partition.</summary>
    public long Patient { get; } = PatientNumber.Of(patientKey);

    /// <summary>Where the resource of a draft stands; null where it is new.</summary>
    public ResourcePlace? Find(ResourceDraft draft)
    {
        var address = (draft.Type, draft.Id);
        if (_known.GetValueOrDefault(address) is { } known)
            return known;
        var found = statements.Find(
            """
            select number, version_id, last_updated, content_hash, date_from, date_to, status, codes
            from resource where type = @type and id = @id and patient = @patient
            """,
            row => new ResourcePlace(row.Number(0))
            {
                VersionId = row.Number(1),
                LastUpdated = row.Number(2),
                ContentHash = row.Bytes(3),
                Indexed = [row.Number(4), row.NumberOrNull(5), row.TextOrNull(6), row.Number(7)],
            },
            ("type", IndexedTypes.NumberOf(draft.Type)),
            ("id", draft.Id),
            ("patient", Patient)
        );
        if (found is not null)
            _known.Add(address, found);
        return found;
    }

    /// <summary>A place for a resource that has none.</summary>
    public ResourcePlace Next(string type, string id)
    {
        _last ??= statements.Find("select max(number) from resource where patient = @patient", row => row.Number(0), ("patient", Patient));
        _last++;
        var place = new ResourcePlace(_last.Value);
        _known.Add((type, id), place);
        return place;
    }

    /// <summary>The number of the resource at an address such as <c>Observation/1</c>; null where the patient has none there.</summary>
    public long? NumberAt(string address)
    {
        if (address.Split('/') is not [var type, var id] || IndexedTypes.NumberOf(type) is not (> 0 and var number))
            return null;
        if (_known.GetValueOrDefault((type, id)) is { } known)
            return known.Number;
        if (!_numbers.TryGetValue(address, out var found))
        {
            found = statements.Find(
                "select number from resource where type = @type and id = @id and patient = @patient",
                row => (long?)row.Number(0),
                ("type", number),
                ("id", id),
                ("patient", Patient)
            );
            _numbers.Add(address, found);
        }

        return found;
    }

    /// <summary>Whom a stored resource is about, or null.</summary>
    public ReferenceKey? SubjectOf(string type, string id) =>
        statements.Find<ReferenceKey?>(
            $"""
            select m.reference, m.value, m.system
            from resource r join reference_set_member m on m.patient = r.patient and m.number = r.about and m.parameter = '{Subject}'
            where r.type = @type and r.id = @id and r.patient = @patient
            """,
            row => new(row.Text(0), row.Text(1) is { Length: > 0 } value ? new Token(row.Text(2), value) : null),
            ("type", IndexedTypes.NumberOf(type)),
            ("id", id),
            ("patient", Patient)
        );

    /// <summary>The name under which whom it is about stands in a set of references.</summary>
    public const string Subject = "subject";

    /// <summary>The number of a set of codings, which is written where nobody said it before; 0 for none.</summary>
    public long NumberOf(SharedSet<IndexedCoding>? set)
    {
        if (set is null)
            return 0;
        if (statements.Find("select number from coding_set where key = @key", row => row.Number(0), ("key", set.Key)) is > 0 and var known)
            return known;
        statements.Execute(
            "insert into coding_set (number, key) select coalesce(max(number), 0) + 1, @key from coding_set",
            ("key", set.Key)
        );
        var number = statements.Find("select number from coding_set where key = @key", row => row.Number(0), ("key", set.Key));
        foreach (var (parameter, part, token) in set.Members)
        {
            statements.Execute(
                """
                insert into coding_set_member (number, parameter, part, code, system)
                values (@number, @parameter, @part, @code, @system)
                """,
                ("number", number),
                ("parameter", parameter),
                ("part", part),
                ("code", token.Value),
                ("system", token.System)
            );
        }

        return number;
    }

    /// <summary>The number of a set of references of this patient, which is written where it is new; 0 for none.</summary>
    public long NumberOf(SharedSet<IndexedReference>? set)
    {
        if (set is null)
            return 0;
        if (Known(set) is > 0 and var known)
            return known;
        statements.Execute(
            """
            insert into reference_set (patient, number, key)
            select @patient, coalesce(max(number), 0) + 1, @key from reference_set where patient = @patient
            """,
            ("patient", Patient),
            ("key", set.Key)
        );
        var number = Known(set);
        foreach (var (parameter, key) in set.Members)
        {
            statements.Execute(
                """
                insert into reference_set_member (patient, number, parameter, reference, value, system)
                values (@patient, @number, @parameter, @reference, @value, @system)
                """,
                ("patient", Patient),
                ("number", number),
                ("parameter", parameter),
                ("reference", key.Target),
                ("value", key.Identifier?.Value ?? ""),
                ("system", key.Identifier?.System ?? "")
            );
        }

        return number;
    }

    /// <summary>The number of a set of references that is stored; 0 where it is not.</summary>
    public long Known(SharedSet<IndexedReference> set) =>
        statements.Find(
            "select number from reference_set where patient = @patient and key = @key",
            row => row.Number(0),
            ("patient", Patient),
            ("key", set.Key)
        );
}
