using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Criteria;
using Irrigation.Episodes;
using Irrigation.Flags;

namespace IrrigationFhir.Model;

/// <summary>An episode as it stands: its description, its log, the balance of that log, and its flags.</summary>
/// <param name="Id">The service's id.</param>
/// <param name="Definition">As its opener describes it.</param>
/// <param name="Balance">The balance of its log.</param>
internal record Episode(string Id, EpisodeDefinition Definition, FluidBalance Balance)
{
    /// <summary>Its flags; null until somebody asks for them.</summary>
    public FlagRecord? Flags { get; init; }

    /// <summary>Its criteria; null until somebody asks for them.</summary>
    public CriteriaRecord? Criteria { get; init; }

    /// <summary>The security labels of whatever was sent for it: what is worked out carries them.</summary>
    public ImmutableArray<SecurityLabel> Labels { get; init; } = [];

    /// <summary>Whom the criteria are judged for.</summary>
    public Irrigation.Criteria.Patient Patient => new(Definition.BirthDate, Definition.Frame.Zone);

    /// <summary>The log.</summary>
    public EpisodeLog Log => Balance.Log;
}
