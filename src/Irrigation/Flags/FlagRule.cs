namespace Irrigation.Flags;

/// <summary>What a flag is about.</summary>
public enum FlagCategory
{
    /// <summary>The patient's state.</summary>
    Clinical,

    /// <summary>The safety of what is done.</summary>
    Safety,

    /// <summary>Whether what is charted can be relied on.</summary>
    DataQuality,
}

/// <summary>When a rule has to look.</summary>
public enum Looks
{
    /// <summary>Whenever something is charted, and when it asked to.</summary>
    AtEveryEntry,

    /// <summary>
    /// Only when a closed interval of the balance is new or other: for what is dear to work out and rests on nothing else.
    /// </summary>
    AtClosings,
}

/// <summary>A pattern that asks a person to look at the patient. It diagnoses nothing and commands nothing.</summary>
/// <param name="Slug">Its name everywhere, e.g. <c>outflow-deficit</c>.</param>
/// <param name="Title">For people.</param>
/// <param name="Category">What it is about.</param>
/// <param name="Source">What its definition rests on, and how good that is.</param>
/// <param name="Caution">What whoever reads it should bear in mind.</param>
/// <param name="Judge">Three answers.</param>
/// <param name="Looks">When it has to look.</param>
public sealed record FlagRule(
    string Slug,
    string Title,
    FlagCategory Category,
    string Source,
    string Caution,
    Func<Bedside, Finding> Judge,
    Looks Looks = Looks.AtEveryEntry
);
