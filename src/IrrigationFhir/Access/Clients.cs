namespace IrrigationFhir.Access;

/// <summary>Who is registered now: the file is read again as it changes, and one that cannot be used leaves the last in force.</summary>
/// <remarks>Looked at by those who ask, at most every two seconds, by its time and length; a link may be moved to another file.</remarks>
internal sealed partial class Clients
{
    private static readonly TimeSpan LookEvery = TimeSpan.FromSeconds(2);

    private readonly Lock _gate = new();
    private readonly AccessSettings _settings;
    private readonly TimeProvider _clock;
    private readonly IAudit _audit;
    private readonly ILogger<Clients> _log;
    private (DateTime, long) _seen;
    private long _lookedAt;
    private volatile Known _known = new(Registrations.None, 0, 0);

    /// <summary>Begins with what was registered when the settings were read.</summary>
    public Clients(AccessSettings settings, TimeProvider clock, IAudit audit, ILogger<Clients> log)
    {
        (_settings, _clock, _audit, _log) = (settings, clock, audit, log);
        _lookedAt = clock.GetTimestamp();
        if (!AreRegistered)
            return;
        (_seen, _known) = (settings.Registered.Stamp, new(settings.Registered, 1, 0));
    }

    /// <summary>Whether clients have to be registered here.</summary>
    public bool AreRegistered => _settings is { Mode: not AccessMode.Open, ClientsFile: not null };

    /// <summary>Who is registered.</summary>
    public Registrations Now => Look().All;

    /// <summary>Another number after each change of who is registered.</summary>
    public int Version => Look().Version;

    /// <summary>How much is wrong with the file as it lies there; 0 where it is in force.</summary>
    public int Faults => Look().Faults;

    private Known Look()
    {
        if (!AreRegistered || _clock.GetElapsedTime(Volatile.Read(ref _lookedAt)) < LookEvery)
            return _known;
        lock (_gate)
        {
            if (_clock.GetElapsedTime(_lookedAt) < LookEvery)
                return _known;
            Volatile.Write(ref _lookedAt, _clock.GetTimestamp());
            var stamp = Registrations.StampOf(_settings.ClientsFile!);
            if (stamp != _seen)
                (_seen, _known) = (stamp, Reread());
            return _known;
        }
    }

    private Known Reread()
    {
        try
        {
            var all = Registrations.Read(_settings.ClientsFile!, _settings);
            LogChanged(all.All.Count);
            _ = Tell([.. all.All.Select(client => client.Id)]);
            return new(all, _known.Version + 1, 0);
        }
        catch (SettingsFault fault)
        {
            LogFaulty(fault.Message);
            return _known with { Faults = fault.Message.Split(Environment.NewLine).Length };
        }
    }

    /// <summary>Has it recorded. Whoever asks just now does not wait for that, and what is registered holds in any case.</summary>
    private async Task Tell(IReadOnlyList<string> registered)
    {
        try
        {
            await _audit.RolesChanged("clients-changed", registered);
        }
        catch (Exception failure)
        {
            LogUnrecorded(failure.GetType().Name);
        }
    }

    private sealed record Known(Registrations All, int Version, int Faults);

    [LoggerMessage(1, LogLevel.Information, "Access:ClientsFile was read again: {Clients} clients")]
    private partial void LogChanged(int clients);

    [LoggerMessage(
        2,
        LogLevel.Error,
        "Access:ClientsFile has changed and cannot be used; what was registered before stays in force: {Faults}"
    )]
    private partial void LogFaulty(string faults);

    [LoggerMessage(3, LogLevel.Error, "That clients have changed could not be recorded ({Kind})")]
    private partial void LogUnrecorded(string kind);
}
