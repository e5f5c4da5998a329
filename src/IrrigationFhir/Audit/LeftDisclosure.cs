using IrrigationFhir.Store;
using NodaTime.Extensions;

namespace IrrigationFhir.Audit;

/// <summary>
/// Records what a command discloses that has no service around it: files in the data folder, which the service takes up within a second,
/// or when it starts.
/// </summary>
/// <remarks>
/// Who started the command is not said: the account of the operating system may be a person's name or everybody's, and the machine's own
/// log tells it better.
/// </remarks>
/// <param name="folder">The data folder.</param>
/// <param name="clock">When it is.</param>
/// <param name="asked">What was asked, without anything of a person's: no folder.</param>
internal sealed class LeftDisclosure(string folder, TimeProvider clock, string asked)
{
    /// <summary>Who is said to have been told.</summary>
    public const string Client = "command-line";

    private const int MostEpisodes = 250;

    private readonly string _job = $"exports/{Guid.NewGuid():N}";
    private readonly HashSet<string> _told = [];
    private readonly List<string> _taken = [];

    /// <summary>Says that the command begins: nobody's data have left.</summary>
    /// <exception cref="AuditUnavailable">It cannot be recorded.</exception>
    public void Begin() => Leave([Entry]);

    /// <summary>Something of an episode is among what is written.</summary>
    public void Took(string episode)
    {
        if (_told.Add(episode))
            _taken.Add(episode);
    }

    /// <summary>Records whatever was taken since: before anybody else can have it.</summary>
    /// <exception cref="AuditUnavailable">It cannot be recorded: then it must not appear.</exception>
    public void Tell()
    {
        if (_taken.Count == 0)
            return;
        Leave([.. _taken.Chunk(MostEpisodes).Select(some => Entry with { Episodes = some })]);
        _taken.Clear();
    }

    private AuditEntry Entry =>
        AuditEntry.By(new(Client, null, null, null, null), Deed.Disclose, "export", clock.GetCurrentInstant()) with
        {
            Resources = [_job],
            Query = asked,
        };

    private void Leave(IReadOnlyList<AuditEntry> entries)
    {
        try
        {
            AuditQueue.Leave(folder, entries);
        }
        catch (Exception failure) when (failure is IOException or UnauthorizedAccessException)
        {
            throw new AuditUnavailable(failure);
        }
    }
}
