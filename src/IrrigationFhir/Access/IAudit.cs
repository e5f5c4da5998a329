namespace IrrigationFhir.Access;

/// <summary>Where who lets in, and who hands out tokens, has it recorded.</summary>
internal interface IAudit
{
    /// <summary>Somebody was refused. Whatever becomes of the record, the refusal stands.</summary>
    /// <param name="http">The request; its caller, where it has one, is named.</param>
    /// <param name="status">The status it was answered with.</param>
    /// <param name="code">Why: the code of a problem, such as <c>not-authenticated</c>. Never anything that was sent.</param>
    void Refused(HttpContext http, int status, string code);

    /// <summary>Clients or keys became others.</summary>
    /// <param name="code">How: a code of ours, such as <c>clients-changed</c>.</param>
    /// <param name="about">Ids of clients or keys; nothing secret.</param>
    Task RolesChanged(string code, IReadOnlyList<string> about);
}
