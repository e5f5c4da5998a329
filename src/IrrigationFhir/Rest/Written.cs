using Hl7.Fhir.Model;
using Irrigation.Episodes;
using IrrigationFhir.Problems;
using IrrigationFhir.Store;

namespace IrrigationFhir.Rest;

/// <summary>What became of a create or update.</summary>
internal abstract record Written
{
    /// <summary>The resource is stored, new or as it was.</summary>
    /// <param name="Status">200 or 201.</param>
    /// <param name="Resource">The stored Observation; null where it is withheld because it failed its own profile.</param>
    /// <param name="Disposition">What the log made of it.</param>
    public sealed record Stands(int Status, ResourceVersion? Resource, string Disposition) : Written
    {
        /// <summary>The episode of the resource; none where it is withheld, or about no patient.</summary>
        public IEnumerable<string> Episodes => AuditedReads.Episodes(Resource is null ? [] : [ShownVersion.Of(Resource)]);

        /// <summary>What cannot be taken as it stands now that it is there, each as a warning.</summary>
        public IReadOnlyList<OperationOutcome.IssueComponent> Warnings { get; init; } = [];
    }

    /// <summary>Nothing was changed.</summary>
    public sealed record Refused(int Status, OperationOutcome Outcome) : Written
    {
        /// <summary>A refusal with one problem.</summary>
        public static Refused Of(int status, EntryProblem problem) => Of(status, [problem]);

        /// <summary>A refusal with problems.</summary>
        public static Refused Of(int status, IEnumerable<EntryProblem> problems) => new(status, Outcomes.Of(problems));
    }
}
