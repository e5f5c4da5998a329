using IrrigationFhir.Search;

namespace IrrigationFhir.Store;

/// <summary>The rows that a resource is found by: written one by one, and only those of a table in which something changed.</summary>
/// <remarks>All rows of a table in one statement, out of a JSON value, took two and a half times as long.</remarks>
/// <param name="statements">Those of the transaction.</param>
/// <param name="patientKey">Of the patient whose resource it is.</param>
/// <param name="draft">The resource.</param>
/// <param name="times">When it happened, and other times.</param>
/// <param name="from">Its date, as it stands beside measures.</param>
internal sealed class IndexRows(PreparedStatements statements, string patientKey, ResourceDraft draft, DraftTimes times, long from)
{
    /// <summary>Writes all rows of a resource that has none.</summary>
    public void Insert()
    {
        InsertTokens();
        InsertReferences();
        InsertTimes();
    }

    /// <summary>Writes what is other than it was.</summary>
    /// <param name="before">The <see cref="ResourceDraft.IndexHash"/> by which the rows were written; empty where nobody knows.</param>
    public void Replace(byte[] before)
    {
        if (Differs(before, 0))
        {
            Delete("resource_token");
            InsertTokens();
        }
        else if (Differs(before, 1))
        {
            UpdateMeasures();
        }

        if (Differs(before, 2))
        {
            Delete("resource_reference");
            InsertReferences();
        }

        if (Differs(before, 3))
        {
            Delete("resource_date");
            InsertTimes();
        }
    }

    private bool Differs(byte[] before, int part) =>
        before.Length != draft.IndexHash.Length || !before.AsSpan(8 * part, 8).SequenceEqual(draft.IndexHash.AsSpan(8 * part, 8));

    private void Delete(string table) =>
        statements.Execute(
            $"delete from {table} where patient_key = @patient and type = @type and id = @id",
            ("patient", patientKey),
            ("type", draft.Type),
            ("id", draft.Id)
        );

    private void UpdateMeasures()
    {
        foreach (var (parameter, part, token, measure) in draft.Tokens.Where(row => IndexedTypes.IsMeasured(row.Parameter)))
        {
            statements.Execute(
                """
                update resource_token set number = @number, amount = @amount, unit = @unit
                where patient_key = @patient and type = @type and id = @id
                    and parameter = @parameter and part = @part and code = @code and system = @system
                """,
                ("number", measure?.Number),
                ("amount", measure?.Amount),
                ("unit", measure?.Unit),
                ("patient", patientKey),
                ("type", draft.Type),
                ("id", draft.Id),
                ("parameter", parameter),
                ("part", part),
                ("code", token.Value),
                ("system", token.System)
            );
        }
    }

    private void InsertTokens()
    {
        foreach (var (parameter, part, token, measure) in draft.Tokens)
        {
            statements.Execute(
                """
                insert into resource_token (patient_key, type, id, parameter, part, code, system, number, amount, unit, date_from)
                values (@patient, @type, @id, @parameter, @part, @code, @system, @number, @amount, @unit, @from)
                on conflict do nothing
                """,
                ("patient", patientKey),
                ("type", draft.Type),
                ("id", draft.Id),
                ("parameter", parameter),
                ("part", part),
                ("code", token.Value),
                ("system", token.System),
                ("number", measure?.Number),
                ("amount", measure?.Amount),
                ("unit", measure?.Unit),
                ("from", IndexedTypes.IsMeasured(parameter) ? from : null)
            );
        }
    }

    private void InsertTimes()
    {
        foreach (var (parameter, range) in times.Others)
        {
            statements.Execute(
                """
                insert into resource_date (patient_key, type, id, parameter, date_from, date_to)
                values (@patient, @type, @id, @parameter, @from, @to)
                on conflict do nothing
                """,
                ("patient", patientKey),
                ("type", draft.Type),
                ("id", draft.Id),
                ("parameter", parameter),
                ("from", range.From),
                ("to", range.To)
            );
        }
    }

    private void InsertReferences()
    {
        foreach (var (parameter, key) in draft.References)
        {
            statements.Execute(
                """
                insert into resource_reference (patient_key, type, id, parameter, reference, value, system)
                values (@patient, @type, @id, @parameter, @reference, @value, @system)
                on conflict do nothing
                """,
                ("patient", patientKey),
                ("type", draft.Type),
                ("id", draft.Id),
                ("parameter", parameter),
                ("reference", key.Target),
                ("value", key.Identifier?.Value ?? ""),
                ("system", key.Identifier?.System ?? "")
            );
        }
    }
}
