using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Validation;

/// <summary>Judges resources by the profiles they claim. Nothing is looked up outside this assembly, whatever a resource claims.</summary>
/// <remarks>
/// Thread-safe and synchronous. Construct it before requests come in, in a hosted service or right after the container:
/// building the rules takes a second or two and waits for the thread pool, which callers queueing up behind it would use up.
/// </remarks>
internal sealed class ProfileValidator
{
    // The canonical base is settled once per process, and so are the rules; they are immutable.
    private static readonly Lazy<ProfileRules> Rules = new(() => new([.. Definitions.Own(Profiles.CanonicalBase), .. Definitions.OfR4()]));

    /// <summary>From so many on they are judged side by side.</summary>
    private static readonly ParallelOptions Processors = new() { MaxDegreeOfParallelism = Math.Min(Environment.ProcessorCount, 8) };

    private const int ManyResources = 8;

    // By the canonical base of this process; the first validator builds the rules.
    private readonly ProfileRules rules = Rules.Value;
    private volatile bool ready;

    /// <summary>Whether <see cref="Warm"/> has gone through.</summary>
    public bool IsReady => ready;

    /// <summary>Judges one example of every profile, by one thread.</summary>
    /// <remarks>Invariants compile when they first run; the first requests should not pay for that.</remarks>
    /// <exception cref="InvalidOperationException">
    /// An example of ours does not pass: this assembly is broken and must not serve.
    /// </exception>
    public void Warm()
    {
        foreach (var example in Definitions.Examples(Profiles.CanonicalBase))
        {
            if (Validate(example) is [var fault, ..])
                throw new InvalidOperationException($"{example.Id}: {fault.Key} at {fault.Where}");
        }

        ready = true;
    }

    /// <summary>Judges a resource by the profiles in <c>meta.profile</c>, or by its R4 type if it claims none.</summary>
    /// <returns>All faults; empty when valid.</returns>
    public IReadOnlyList<ProfileFault> Validate(Resource resource) => rules.Judge(resource);

    /// <summary>
    /// Whether a fault is of what a sender says in words of its own, and keeps nothing out: an extension or a profile that is not known
    /// here, a contained resource of a type that is not judged here.
    /// </summary>
    public static bool IsOfSender(ProfileFault fault) =>
        fault.Key is FaultKind.UnknownExtension or FaultKind.UnknownProfile
        || (fault.Key == FaultKind.Type && fault.Where.Contains(".contained[", StringComparison.Ordinal));

    /// <summary>Parts resources that may be published from those that may not.</summary>
    /// <returns>The valid ones in their order, and the others, each with its faults.</returns>
    public (IReadOnlyList<Resource> Valid, IReadOnlyList<(Resource Resource, IReadOnlyList<ProfileFault> Faults)> Withheld) Sort(
        IEnumerable<Resource> resources
    )
    {
        var valid = new List<Resource>();
        var withheld = new List<(Resource, IReadOnlyList<ProfileFault>)>();
        foreach (var (resource, faults) in Judged([.. resources]))
        {
            if (faults.All(IsOfSender))
                valid.Add(resource);
            else
                withheld.Add((resource, faults));
        }

        return (valid, withheld);
    }

    /// <summary>Each with its faults, in their order; many of them on all processors, for this is most of what a request costs.</summary>
    /// <remarks>
    /// Beware of parallel queries here: their caller waits for threads of the pool, and where all of these are such callers nobody
    /// works. A parallel loop works in its caller too.
    /// </remarks>
    private IEnumerable<(Resource Resource, IReadOnlyList<ProfileFault> Faults)> Judged(IReadOnlyList<Resource> resources)
    {
        if (resources.Count < ManyResources)
            return resources.Select(resource => (resource, Validate(resource)));
        var faults = new IReadOnlyList<ProfileFault>[resources.Count];
        Parallel.For(0, faults.Length, Processors, i => faults[i] = Validate(resources[i]));
        return resources.Zip(faults);
    }
}
