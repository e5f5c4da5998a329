using System.Globalization;
using System.Text;

namespace IrrigationFhir.Analytics;

/// <summary>A path, compiled.</summary>
internal abstract class PassStep
{
    /// <summary>Puts what it finds on the stack.</summary>
    public abstract void Find(PassMachine machine, int focus, int rowIndex);

    /// <summary>Whether it is true; null where it finds nothing.</summary>
    public virtual bool? Test(PassMachine machine, int focus, int rowIndex)
    {
        if (machine.One(this, focus, rowIndex) is not { } value)
            return null;
        return value.Kind == ValueKind.Boolean ? value.Text == "true" : throw Logic.NoCondition();
    }

    /// <summary>Whether it finds anything.</summary>
    public virtual bool Any(PassMachine machine, int focus, int rowIndex)
    {
        var at = machine.Top;
        Find(machine, focus, rowIndex);
        var any = machine.Top > at;
        machine.Drop(at);
        return any;
    }
}

/// <summary>Compiles paths, and numbers the names that they speak of.</summary>
internal sealed class PassCompiler
{
    private readonly List<string> _names = [];

    /// <summary>The names so far, by their numbers.</summary>
    public IReadOnlyList<string> Names => _names;

    /// <summary>The number of a name.</summary>
    public int Name(string name)
    {
        var known = _names.IndexOf(name);
        if (known >= 0)
            return known;
        _names.Add(name);
        return _names.Count - 1;
    }

    /// <summary>A path, compiled.</summary>
    public PassStep Compile(ViewPath path) =>
        path switch
        {
            ViewPath.Focus => new Focus(),
            ViewPath.Nothing => new Nothing(),
            ViewPath.Child { Source: ViewPath.Focus, Names: [var only] } => new ChildOfFocus(Name(only)),
            ViewPath.Child child => new Child(Compile(child.Source), [.. child.Names.Select(Name)]),
            ViewPath.OfResource of => new OfResource(Compile(of.Source), Name("resourceType"), Encoding.UTF8.GetBytes(of.Resource)),
            ViewPath.At at => new At(Compile(at.Source), at.Index),
            ViewPath.Where where => new Where(Compile(where.Source), Compile(where.Condition)),
            ViewPath.Exists exists => new Exists(Compile(exists.Source), exists.Wanted),
            ViewPath.Not not => new Not(Compile(not.Source)),
            ViewPath.Join join => new Join(Compile(join.Source), join.Separator),
            ViewPath.Boundary boundary => new Boundary(Compile(boundary.Source), boundary.Source.Type.Name, boundary.High),
            ViewPath.ResourceKey => new ResourceKey(),
            ViewPath.ReferenceKey key => new ReferenceKey(new Child(Compile(key.Source), [Name("reference")]), key.Resource),
            ViewPath.Logical logical => new Logical(logical.And, Compile(logical.Left), Compile(logical.Right)),
            ViewPath.Alike
            {
                Wanted: true,
                Left: ViewPath.Child { Source: ViewPath.Focus, Names: [var name] },
                Right: ViewPath.Constant { Kind: ValueKind.Text } text
            } when Logic.Moment(text.Text) is null => new ChildIsText(Name(name), text.Text),
            ViewPath.Alike alike => new Alike(alike.Wanted, Compile(alike.Left), Compile(alike.Right)),
            ViewPath.Compared compared => new Compared(compared.Operator, Compile(compared.Left), Compile(compared.Right)),
            ViewPath.Arithmetic sum => new Arithmetic(sum.Operator, Compile(sum.Left), Compile(sum.Right)),
            ViewPath.Constant constant => new Constant(new(constant.Kind, constant.Text)),
            ViewPath.RowIndex => new RowIndex(),
            _ => throw new InvalidOperationException($"{path.GetType().Name} is not compiled"),
        };

    private sealed class Focus : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex) => machine.Push(focus);
    }

    private sealed class Nothing : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex) { }
    }

    /// <summary>By far the most of what views say.</summary>
    private sealed class ChildOfFocus(int name) : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            var tree = machine.Tree;
            var end = tree[focus].End;
            for (var at = focus + 1; at < end; at = tree[at].End)
            {
                if (tree[at].Name == name)
                    machine.Push(at);
            }
        }

        public override bool Any(PassMachine machine, int focus, int rowIndex)
        {
            var tree = machine.Tree;
            var end = tree[focus].End;
            for (var at = focus + 1; at < end; at = tree[at].End)
            {
                if (tree[at].Name == name)
                    return true;
            }

            return false;
        }
    }

    private sealed class Child(PassStep source, int[] names) : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            var from = machine.Top;
            source.Find(machine, focus, rowIndex);
            var to = machine.Top;
            var tree = machine.Tree;
            for (var i = from; i < to; i++)
            {
                var node = machine[i].Node;
                if (node < 0)
                    continue;
                var end = tree[node].End;
                foreach (var name in names)
                {
                    for (var at = node + 1; at < end; at = tree[at].End)
                    {
                        if (tree[at].Name == name)
                            machine.Push(at);
                    }
                }
            }

            machine.Remove(from, to);
        }
    }

    private sealed class OfResource(PassStep source, int typeName, byte[] type) : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            var from = machine.Top;
            source.Find(machine, focus, rowIndex);
            var kept = from;
            for (var i = from; i < machine.Top; i++)
            {
                if (machine[i].Node >= 0 && machine.IsOfType(machine[i].Node, typeName, type))
                    machine[kept++] = machine[i];
            }

            machine.Drop(kept);
        }
    }

    private sealed class At(PassStep source, int index) : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            var from = machine.Top;
            source.Find(machine, focus, rowIndex);
            if (machine.Top - from <= index)
            {
                machine.Drop(from);
                return;
            }

            machine[from] = machine[from + index];
            machine.Drop(from + 1);
        }
    }

    private sealed class Where(PassStep source, PassStep condition) : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            var from = machine.Top;
            source.Find(machine, focus, rowIndex);
            var (to, kept) = (machine.Top, from);
            for (var i = from; i < to; i++)
            {
                var found = machine[i];
                if (found.Node >= 0 && condition.Test(machine, found.Node, rowIndex) == true)
                    machine[kept++] = found;
            }

            machine.Drop(kept);
        }
    }

    /// <summary>A step that answers true, false or nothing.</summary>
    private abstract class Condition : PassStep
    {
        public abstract override bool? Test(PassMachine machine, int focus, int rowIndex);

        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            if (Test(machine, focus, rowIndex) is { } answer)
                machine.Push(ValueKind.Boolean, answer ? "true" : "false");
        }
    }

    private sealed class Exists(PassStep source, bool wanted) : Condition
    {
        public override bool? Test(PassMachine machine, int focus, int rowIndex) => source.Any(machine, focus, rowIndex) == wanted;
    }

    private sealed class Not(PassStep source) : Condition
    {
        public override bool? Test(PassMachine machine, int focus, int rowIndex) => !source.Test(machine, focus, rowIndex);
    }

    private sealed class Logical(bool and, PassStep left, PassStep right) : Condition
    {
        public override bool? Test(PassMachine machine, int focus, int rowIndex)
        {
            var first = left.Test(machine, focus, rowIndex);
            return first == !and ? first : Logic.Of(and, first, right.Test(machine, focus, rowIndex));
        }
    }

    /// <summary>A property that is a text as written down: told by its bytes.</summary>
    private sealed class ChildIsText(int name, string text) : Condition
    {
        private readonly byte[] _bytes = Encoding.UTF8.GetBytes(text);

        public override bool? Test(PassMachine machine, int focus, int rowIndex)
        {
            var tree = machine.Tree;
            bool? answer = null;
            var end = tree[focus].End;
            for (var at = focus + 1; at < end; at = tree[at].End)
            {
                ref readonly var kept = ref tree[at];
                if (kept.Name != name)
                    continue;
                if (answer is not null)
                    return false; // several are not alike one
                answer = kept.Kind switch
                {
                    KeptKind.Text => kept.HasEscapes ? machine.Text(at) == text : machine.Raw(at).SequenceEqual(_bytes),
                    KeptKind.Object => throw Logic.ObjectInOperation(),
                    _ => false,
                };
            }

            return answer;
        }
    }

    private sealed class Alike(bool wanted, PassStep left, PassStep right) : Condition
    {
        public override bool? Test(PassMachine machine, int focus, int rowIndex)
        {
            var from = machine.Top;
            left.Find(machine, focus, rowIndex);
            var middle = machine.Top;
            right.Find(machine, focus, rowIndex);
            var (first, second) = (middle - from, machine.Top - middle);
            bool? same = first == 0 || second == 0 ? null : first == second;
            for (var i = 0; same == true && i < first; i++)
                same = Logic.Alike(machine.Value(machine[from + i]), machine.Value(machine[middle + i]));
            machine.Drop(from);
            return same is { } known ? known == wanted : null;
        }
    }

    private sealed class Compared(string comparison, PassStep left, PassStep right) : Condition
    {
        public override bool? Test(PassMachine machine, int focus, int rowIndex) =>
            Logic.Order(machine.One(left, focus, rowIndex), machine.One(right, focus, rowIndex)) is { } order
                ? Logic.Holds(comparison, order)
                : null;
    }

    private sealed class Arithmetic(char sign, PassStep left, PassStep right) : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            if (Logic.Calculated(sign, machine.One(left, focus, rowIndex), machine.One(right, focus, rowIndex)) is { } number)
                machine.Push(ValueKind.Number, number);
        }
    }

    private sealed class Join(PassStep source, string separator) : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            var from = machine.Top;
            source.Find(machine, focus, rowIndex);
            var texts = new List<string>();
            for (var i = from; i < machine.Top; i++)
                texts.Add(machine.Value(machine[i]).Text);
            machine.Drop(from);
            machine.Push(ValueKind.Text, string.Join(separator, texts));
        }
    }

    private sealed class Boundary(PassStep source, string? type, bool high) : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            if (machine.One(source, focus, rowIndex) is not { } value)
                return;
            var bound = value.Kind switch
            {
                ValueKind.Number => Boundaries.OfNumber(value.Text, high),
                ValueKind.Text => Boundaries.OfTime(value.Text, type, high),
                ValueKind.Boolean => null,
            };
            if (bound is not null)
                machine.Push(value.Kind, bound);
        }
    }

    private sealed class ResourceKey : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            if (machine.ResourceKey() is { } key)
                machine.Push(ValueKind.Text, key);
        }
    }

    private sealed class ReferenceKey(PassStep reference, string? type) : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex)
        {
            var from = machine.Top;
            reference.Find(machine, focus, rowIndex);
            var kept = from;
            for (var i = from; i < machine.Top; i++)
            {
                if (FhirKeys.OfReference(machine.Value(machine[i]).Text, type) is { } key)
                    machine[kept++] = new(-1, new(ValueKind.Text, key));
            }

            machine.Drop(kept);
        }
    }

    private sealed class Constant(SimpleValue value) : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex) => machine.Push(value.Kind, value.Text);
    }

    private sealed class RowIndex : PassStep
    {
        public override void Find(PassMachine machine, int focus, int rowIndex) =>
            machine.Push(ValueKind.Number, rowIndex.ToString(CultureInfo.InvariantCulture));
    }
}
