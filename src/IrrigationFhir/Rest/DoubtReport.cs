using Irrigation;
using Irrigation.Balance;

namespace IrrigationFhir.Rest;

/// <summary>Why a number cannot be taken as it stands.</summary>
/// <param name="Kind">What it cannot be.</param>
/// <param name="Reading">The entry to look at again, to be confirmed (<c>reading-confirmed</c>) or corrected under its own id.</param>
/// <param name="Says">What was seen and what could be, in words.</param>
internal sealed record DoubtReport([property: WordsOf(typeof(DoubtKind))] string Kind, EntryName Reading, string Says)
{
    /// <summary>The report of a doubt.</summary>
    public static DoubtReport Of(Doubt doubt) => new(Slug.Of(doubt.Kind), new(doubt.Reading.Source, doubt.Reading.Id), doubt.Says);
}

/// <summary>What names an entry.</summary>
/// <param name="Source">Its source.</param>
/// <param name="Id">Its id.</param>
internal sealed record EntryName(string Source, string Id);
