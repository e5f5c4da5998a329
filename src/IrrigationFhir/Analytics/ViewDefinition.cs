namespace IrrigationFhir.Analytics;

/// <summary>A view as SQL on FHIR defines it, read and told what it is about (https://sql-on-fhir.org, version 2).</summary>
/// <param name="Name">What it is called; <c>view</c> where it says no name.</param>
/// <param name="Title">In a few words; null where it does not say.</param>
/// <param name="Description">What a row is; null where it does not say.</param>
/// <param name="Url">Its canonical URL, or null.</param>
/// <param name="Version">Its version, or null.</param>
/// <param name="Resource">The type of resources that it is about.</param>
/// <param name="Where">What has to hold for a resource to be in it.</param>
/// <param name="Root">How rows are made.</param>
/// <param name="Columns">All columns, in their order.</param>
internal sealed record ViewDefinition(
    string Name,
    string? Title,
    string? Description,
    string? Url,
    string? Version,
    string Resource,
    IReadOnlyList<ViewPath> Where,
    ViewSelect Root,
    IReadOnlyList<ViewColumn> Columns
);

/// <summary>What rows are made of: the root has neither columns of its own nor anything that it goes through.</summary>
/// <param name="Each">What it goes through.</param>
/// <param name="Over">The path that it goes through, or those of a <c>repeat</c>.</param>
/// <param name="Again">The paths of a <c>repeat</c> from what it found on.</param>
/// <param name="Columns">Its own columns.</param>
/// <param name="Selects">What each row is joined with.</param>
/// <param name="Unions">What rows come one behind another.</param>
/// <param name="First">Place of its first column among all.</param>
/// <param name="Count">How many columns it has, with those of its parts.</param>
internal sealed record ViewSelect(
    EachKind Each,
    IReadOnlyList<ViewPath> Over,
    IReadOnlyList<ViewPath> Again,
    IReadOnlyList<ViewColumn> Columns,
    IReadOnlyList<ViewSelect> Selects,
    IReadOnlyList<ViewSelect> Unions,
    int First,
    int Count
);

/// <summary>What a select goes through.</summary>
internal enum EachKind
{
    /// <summary>Nothing: one row.</summary>
    Once,

    /// <summary>A row for each, and none where there is nothing.</summary>
    ForEach,

    /// <summary>A row for each, and one where there is nothing.</summary>
    ForEachOrNull,

    /// <summary>A row for each, and for what is found from there, depth first.</summary>
    Repeat,
}

/// <summary>A column of a view.</summary>
/// <param name="Name">As databases take it.</param>
/// <param name="Type">A FHIR type; <c>string</c> where neither the view nor the definitions tell.</param>
/// <param name="IsCollection">Whether it holds any number of values.</param>
/// <param name="Description">What it means, or null.</param>
/// <param name="Path">What it reads.</param>
/// <param name="Index">Its place among all columns of a row, from 0.</param>
/// <param name="SqlType">What the view says that a database should make of it, as <c>DECIMAL(18,6)</c>; null where it does not.</param>
internal sealed record ViewColumn(
    string Name,
    string Type,
    bool IsCollection,
    string? Description,
    ViewPath Path,
    int Index,
    string? SqlType
);

/// <summary>Something in a view that cannot be understood.</summary>
/// <param name="Where">The element, such as <c>select[0].column[1].path</c>.</param>
/// <param name="Saw">What it says.</param>
/// <param name="Expected">What would be understood.</param>
internal sealed record ViewProblem(string Where, string Saw, string Expected)
{
    /// <summary>All of it in a line.</summary>
    public override string ToString() => $"{Where}: {Saw}; {Expected}";
}

/// <summary>Bounds on views, whoever sends them.</summary>
internal static class ViewBounds
{
    /// <summary>Most columns of a view.</summary>
    public const int MostColumns = 256;

    /// <summary>Most selects within one another.</summary>
    public const int DeepestSelects = 16;

    /// <summary>Most selects altogether.</summary>
    public const int MostSelects = 256;

    /// <summary>How deep JSON nests, as it is stored.</summary>
    public const int DeepestJson = 64;

    /// <summary>Most rows that one resource makes.</summary>
    public const int MostRowsOfResource = 10_000;
}
