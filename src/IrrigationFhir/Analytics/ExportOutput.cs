using IrrigationFhir.Store;

namespace IrrigationFhir.Analytics;

/// <summary>A file in the making: rows of a view, or resources as they are. It appears under its name when it is complete.</summary>
internal sealed class ExportOutput : IAsyncDisposable
{
    private readonly string _folder;
    private readonly string _unfinished;
    private readonly string _table;
    private readonly string _file;
    private readonly FileStream _stream;
    private readonly IViewEngine? _engine;
    private readonly TableWriter? _writer;
    private readonly RowReady _ready;
    private long _resources;

    private ExportOutput(string folder, ViewDefinition? view, string type, int part, ExportOrder order, string unfinished)
    {
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

    /// <summary>Begins a file.</summary>
    /// <param name="folder">Where.</param>
    /// <param name="view">Whose rows; null for resources as they are.</param>
    /// <param name="type">Their type.</param>
    /// <param name="part">Which part of the table, from 1.</param>
    /// <param name="order">How it is written.</param>
    /// <param name="unfinished">What its name ends in until it is complete.</param>
    public static ExportOutput Open(string folder, ViewDefinition? view, string type, int part, ExportOrder order, string unfinished) =>
        new(folder, view, type, part, order, unfinished);

    /// <summary>Takes a resource.</summary>
    /// <exception cref="ViewFault">A value does not suit its column.</exception>
    public void Take(StoredResource resource)
    {
        if (_engine is not null)
        {
            _engine.Rows(resource.Json, _ready);
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
        return new(_table, _file, Rows, new FileInfo(path).Length, fingerprint);
    }

    /// <inheritdoc/>
    public async ValueTask DisposeAsync()
    {
        if (_writer is not null)
            await _writer.DisposeAsync();
        await _stream.DisposeAsync();
    }
}
