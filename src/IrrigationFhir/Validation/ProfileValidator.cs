using Hl7.Fhir.Model;
using IrrigationFhir.Fhir;

namespace IrrigationFhir.Validation;

/// <summary>Judges resources by the profiles they claim. Nothing is looked up outside this assembly, whatever a resource claims.</summary>
/// <remarks>
/// Thread-safe and synchronous. Construct it as early as can be: the rules are built beside whatever else is done at a start, and who needs
/// them before waits.
/// </remarks>
internal sealed class ProfileValidator
{
    /// <summary>From so many on they are judged side by side.</summary>
    private static readonly ParallelOptions Processors = new() { MaxDegreeOfParallelism = Math.Min(Environment.ProcessorCount, 8) };

    private const int ManyResources = 8;

    private readonly Vocabulary vocabulary;
    private readonly Task<ProfileRules> rules;
    private readonly KnownShapes shapes;
    private volatile bool ready;

    /// <summary>Builds the rules, and knows no shape yet.</summary>
    public ProfileValidator(Vocabulary vocabulary)
    {
        this.vocabulary = vocabulary;
        rules = OnItsOwnThread(() => new ProfileRules([.. Definitions.Own(vocabulary.Profiles.CanonicalBase), .. Definitions.OfR4()]));
        shapes = new(Validate);
    }

    /// <summary>Does what takes a second or so on a thread of its own: those of the pool are for requests.</summary>
    public static Task<T> OnItsOwnThread<T>(Func<T> work) =>
        Task.Factory.StartNew(work, CancellationToken.None, TaskCreationOptions.LongRunning, TaskScheduler.Default);

    /// <summary>Whether <see cref="Warm"/> has gone through.</summary>
    public bool IsReady => ready;

    /// <summary>Judges one example of every profile, by one thread.</summary>
    /// <remarks>Invariants compile when they first run; the first requests should not pay for that.</remarks>
    /// <exception cref="InvalidOperationException">
    /// An example of ours does not pass: this assembly is broken and must not serve.
    /// </exception>
    public void Warm()
    {
        foreach (var example in Definitions.Examples(vocabulary.Profiles.CanonicalBase))
        {
            if (Validate(example) is [var fault, ..])
                throw new InvalidOperationException($"{example.Id}: {fault.Key} at {fault.Where}");
        }

        ready = true;
    }

    /// <summary>How many shapes are known, and how often one was found wrong: more than never is a mistake in this program.</summary>
    public (int Known, int Wrong) Shapes => (shapes.Count, shapes.Differences);

    /// <summary>Judges a resource by the profiles in <c>meta.profile</c>, or by its R4 type if it claims none.</summary>
    /// <returns>All faults; empty when valid.</returns>
    public IReadOnlyList<ProfileFault> Validate(Resource resource) => rules.GetAwaiter().GetResult().Judge(resource);

    /// <summary>
    /// Whether a fault is of what a sender says in words of its own, and keeps nothing out: an extension or a profile that is not known
    /// here, a contained resource of a type that is not judged here.
    /// </summary>
    public static bool IsOfSender(ProfileFault fault) =>
        fault.Key is FaultKind.UnknownExtension or FaultKind.UnknownProfile
        || (fault.Key == FaultKind.Type && fault.Where.Contains(".contained[", StringComparison.Ordinal));

    /// <summary>Judges resources as <see cref="Validate(Resource)"/> does, those of known shapes by their shape.</summary>
    /// <param name="written">The resources, each with what is stored of it.</param>
    /// <returns>The faults of each, in their order; empty for a valid one.</returns>
    /// <remarks>
    /// What has to be judged in full is judged on all processors. Beware of parallel queries here: their caller waits for threads of the
    /// pool, and where all of these are such callers nobody works. A parallel loop works in its caller too.
    /// </remarks>
    public IReadOnlyList<IReadOnlyList<ProfileFault>> Validate(IReadOnlyList<WrittenResource> written)
    {
        var faults = new IReadOnlyList<ProfileFault>[written.Count];
        Array.Fill(faults, []);
        var unknown = new List<int>();
        var reader = new ShapeReader();
        for (var i = 0; i < written.Count; i++)
        {
            if (!shapes.Knows(written[i], reader))
                unknown.Add(i);
        }

        if (unknown.Count < ManyResources)
            unknown.ForEach(i => faults[i] = shapes.Judge(written[i], reader));
        else
            Parallel.ForEach(unknown, Processors, () => new ShapeReader(), (i, _, own) => Judge(i, own), _ => { });
        return faults;

        ShapeReader Judge(int i, ShapeReader own)
        {
            faults[i] = shapes.Judge(written[i], own);
            return own;
        }
    }
}
