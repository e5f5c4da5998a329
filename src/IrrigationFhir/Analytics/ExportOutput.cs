using IrrigationFhir.Store;

namespace IrrigationFhir.Analytics;

/// <summary>A file in the making: rows of a view, or resources as they are. It appears under its name when it is complete.</summary>
internal sealed class ExportOutput : IAsyncDisposable
{
    /// <summary>Of what is left out of a file so many are named, and all counted.</summary>
    private const int MostNamed = 1000;

    private readonly string _folder;
    private readonly string _unfinished;
    private readonly string _table;
    private readonly string _file;
    private readonly FileStream _stream;
    private readonly IViewEngine? _engine;
    private readonly TableWriter? _writer;
    private readonly RowReady _ready;
    private readonly Action<LeftOut> _leaveOut;
    private long _resources;
    private long _left;

    /// <summary>Begins a file.</summary>
    /// <param name="folder">Where.</param>
    /// <param name="view">Whose rows; null for resources as they are.</param>
    /// <param name="type">Their type.</param>
    /// <param name="part">Which part of the table, from 1.</param>
    /// <param name="order">How it is written.</param>
    /// <param name="unfinished">What its name ends in until it is complete.</param>
    /// <param name="leaveOut">Told of rows that cannot be written.</param>
    public ExportOutput(
        string folder,
        ViewDefinition? view,
        string type,
        int part,
        ExportOrder order,
        string unfinished,
        Action<LeftOut> leaveOut
    )
    {
        _leaveOut = leaveOut;
        _table = view?.Name ?? type;
        _file = $"{_table}-{part:0000}.{(order.Format == "fhir" ? "ndjson" : order.Format)}";
        (_folder, _unfinished) = (folder, Path.Combine(folder, _file + unfinished));
        _stream = PrivateFile.Create(_unfinished);
        if (view is not null)
        {
            _engine = Exports.Engine(view);
            _writer = TableWriter.Of(
                TableColumn.Of(view),
                _stream,
                new(Enum.Parse<TableFormat>(order.Format, ignoreCase: true), InUtc: true, CsvSafe: order.CsvSafe)
            );
        }

        _ready = row => _writer!.Add(row);
    }

    /// <summary>Rows, or resources, so far.</summary>
    public long Rows => _writer?.Rows ?? _resources;

    /// <summary>Takes a resource.</summary>
    public void Take(ScannedResource resource)
    {
        if (_engine is not null)
        {
            try
            {
                _engine.Rows(resource.Json, _ready);
            }
            catch (ViewFault fault)
            {
                // One strange value must not keep all others in: it is named, so that its gap is seen.
                if (_left++ < MostNamed)
                    _leaveOut(new(_table, $"{resource.Type}/{resource.Id}", fault.Message));
            }

            return;
        }

        _stream.Write(resource.Json.Span);
        _stream.WriteByte((byte)'\n');
        _resources++;
    }

    /// <summary>Writes what is pending, where it is much.</summary>
    public ValueTask Flush(CancellationToken stop) => _writer?.Flush(stop) ?? ValueTask.CompletedTask;

    /// <summary>Ends the file, and makes sure that it is on the disk.</summary>
    public async ValueTask Finish(CancellationToken stop)
    {
        if (_writer is not null)
            await _writer.Finish(stop);
        _stream.Flush(flushToDisk: true);
    }

    /// <summary>Gives the file its name; it must be ended and closed.</summary>
    public ExportedFile Appear()
    {
        var path = Path.Combine(_folder, _file);
        var fingerprint = PrivateFile.Fingerprint(_unfinished);
        File.Move(_unfinished, path, overwrite: true);
        return new(_table, _file, Rows, new FileInfo(path).Length, fingerprint) { LeftOut = _left };
    }

    /// <inheritdoc/>
    public async ValueTask DisposeAsync()
    {
        if (_writer is not null)
            await _writer.DisposeAsync();
        await _stream.DisposeAsync();
    }
}

/// <summary>What could not be written into a table.</summary>
/// <param name="Table">The table.</param>
/// <param name="Resource">Whose rows are missing, or some of them.</param>
/// <param name="Why">What does not suit the table.</param>
internal sealed record LeftOut(string Table, string Resource, string Why);
