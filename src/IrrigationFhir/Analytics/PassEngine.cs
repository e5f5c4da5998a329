using System.Text;

namespace IrrigationFhir.Analytics;

/// <summary>
/// Makes rows by one forward pass over the bytes of a resource: the view is compiled once into steps that look up what the pass has kept.
/// Nothing is parsed that the view does not speak of, and values go from the resource into the row as they are written.
/// </summary>
internal sealed class PassEngine : IViewEngine
{
    // Ways through selects that lead to no row are gone too.
    private const int MostSteps = 100 * ViewBounds.MostRowsOfResource;

    private static readonly byte[] ResourceType = "resourceType"u8.ToArray();

    private readonly PassMachine _machine;
    private readonly byte[] _type;
    private readonly int _typeName;
    private readonly PassStep[] _where;
    private readonly Plan _root;
    private readonly Cell[] _row;
    private RowReady _ready = _ => { };
    private int _rows;
    private int _steps;

    /// <summary>Compiles a view.</summary>
    public PassEngine(ViewDefinition view)
    {
        var compiler = new PassCompiler();
        var id = compiler.Name("id");
        _typeName = compiler.Name(Encoding.UTF8.GetString(ResourceType));
        _type = Encoding.UTF8.GetBytes(view.Resource);
        _where = [.. view.Where.Select(compiler.Compile)];
        _root = Compile(view.Root, compiler);
        _row = new Cell[view.Columns.Count];
        _machine = new(new KeptTree(compiler.Names), id, view.Resource);
    }

    /// <inheritdoc/>
    public void Rows(ReadOnlyMemory<byte> resource, RowReady ready)
    {
        _machine.Read(resource);
        if (!_machine.IsOfType(0, _typeName, _type))
            return;
        foreach (var condition in _where)
        {
            if (condition.Test(_machine, 0, 0) != true)
                return;
        }

        (_ready, _rows, _steps) = (ready, 0, 0);
        Enter(_root, 0, 0, null);
    }

    /// <summary>Goes through a select, and for each of its rows on with what comes after.</summary>
    private void Enter(Plan plan, int focus, int rowIndex, Work? after)
    {
        if (plan.Each == EachKind.Once)
        {
            Fill(plan, focus, rowIndex, after);
            return;
        }

        var found = new List<int>();
        if (focus >= 0 && plan.Each == EachKind.Repeat)
            Repeat(plan.Over, plan.Again, focus, found, 0);
        else if (focus >= 0)
            _machine.Nodes(plan.Over[0], focus, rowIndex, found);
        for (var i = 0; i < found.Count; i++)
            Fill(plan, found[i], i, after);
        if (found.Count == 0 && plan.Each == EachKind.ForEachOrNull)
            Fill(plan, -1, 0, after);
    }

    private void Repeat(PassStep[] over, PassStep[] again, int focus, List<int> found, int depth)
    {
        if (depth > ViewBounds.DeepestJson)
            return;
        var own = new List<int>();
        foreach (var step in over)
        {
            own.Clear();
            _machine.Nodes(step, focus, 0, own);
            foreach (var node in own.ToArray())
            {
                found.Add(node);
                Repeat(again, again, node, found, depth + 1);
            }
        }
    }

    private void Fill(Plan plan, int focus, int rowIndex, Work? after)
    {
        if (++_steps > MostSteps)
            throw TreeEngine.TooManyRows();
        foreach (var column in plan.Columns)
            _row[column.Index] = focus >= 0 || column.NeedsNoFocus ? _machine.Cell(column, focus, rowIndex) : default;
        if (plan.Selects.Length == 0 && plan.Unions.Length == 0)
            GoOn(after);
        else
            GoOn(new(plan, 0, focus, rowIndex, after));
    }

    private void GoOn(Work? work)
    {
        if (work is null)
        {
            if (++_rows > ViewBounds.MostRowsOfResource)
                throw TreeEngine.TooManyRows();
            _ready(_row);
        }
        else if (work.Index < work.Plan.Selects.Length)
        {
            Enter(work.Plan.Selects[work.Index], work.Focus, work.RowIndex, work with { Index = work.Index + 1 });
        }
        else if (work.Plan.Unions.Length > 0)
        {
            foreach (var branch in work.Plan.Unions)
                Enter(branch, work.Focus, work.RowIndex, work.After);
        }
        else
        {
            GoOn(work.After);
        }
    }

    private static Plan Compile(ViewSelect select, PassCompiler compiler) =>
        new(
            select.Each,
            [.. select.Over.Select(compiler.Compile)],
            [.. select.Again.Select(compiler.Compile)],
            [.. select.Columns.Select(column => Compile(column, compiler))],
            [.. select.Selects.Select(inner => Compile(inner, compiler))],
            [.. select.Unions.Select(branch => Compile(branch, compiler))]
        );

    private static PassColumn Compile(ViewColumn column, PassCompiler compiler) =>
        new(
            column.Name,
            column.Index,
            column.IsCollection,
            column.Path is ViewPath.Constant or ViewPath.RowIndex,
            compiler.Compile(column.Path)
        );

    private sealed record Plan(EachKind Each, PassStep[] Over, PassStep[] Again, PassColumn[] Columns, Plan[] Selects, Plan[] Unions);

    /// <summary>What of a select is still to be joined with the row, and what comes after it.</summary>
    private sealed record Work(Plan Plan, int Index, int Focus, int RowIndex, Work? After);
}

/// <summary>A column, compiled.</summary>
/// <param name="Name">Its name.</param>
/// <param name="Index">Its place in the row.</param>
/// <param name="IsCollection">Whether it takes several values.</param>
/// <param name="NeedsNoFocus">Whether it has a value where there is nothing to look at.</param>
/// <param name="Step">What it reads.</param>
internal sealed record PassColumn(string Name, int Index, bool IsCollection, bool NeedsNoFocus, PassStep Step);
