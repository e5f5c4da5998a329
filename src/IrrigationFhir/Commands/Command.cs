namespace IrrigationFhir.Commands;

/// <summary>Something that the program does besides serving.</summary>
/// <param name="Name">What it is called by: the first argument.</param>
/// <param name="Takes">What may follow, as usage shows it.</param>
/// <param name="Does">What it does, in one line.</param>
/// <param name="Run">Does it with what followed; answers the exit code.</param>
internal sealed record Command(string Name, string Takes, string Does, Func<string[], Task<int>> Run)
{
    /// <summary>Its own options, where settings may follow too: each argument is judged first. Null where it judges them itself.</summary>
    public string[]? BesideSettings { get; init; }

    /// <summary>Of its own options those that a value follows, as another argument or behind <c>=</c>; the command judges it.</summary>
    public string[] WithValue { get; init; } = [];

    /// <summary>How it is called.</summary>
    public string Usage => $"{Name} {Takes}".TrimEnd();
}
