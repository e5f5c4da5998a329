namespace IrrigationFhir.Search;

/// <summary>Reads a quantity of a search: a prefix, a number whose digits say how far it reaches, and perhaps a unit.</summary>
/// <remarks>
/// 100 stands for 99.5 up to 100.5, 100.0 for 99.95 up to 100.05, and 1e2 for 50 up to 150: half a unit of the last digit written,
/// the lower end included. lt, le, gt and ge compare with the number itself; sa and eb with the end of its stretch; ap takes a
/// tenth of the number more on either side.
/// </remarks>
internal static class QuantityText
{
    /// <summary>What is expected, for a refusal.</summary>
    public const string Expected =
        "a number, number|system|code or number||code, perhaps after a prefix, such as gt100 or 0.5|http://example.org/units|mL";

    /// <summary>The tests of which one must hold, or null when the text is no quantity.</summary>
    /// <param name="text">Still escaped.</param>
    public static IReadOnlyList<QuantityTest>? Read(string text)
    {
        var parts = SearchText.Split(text, '|');
        if (parts is not ([_] or [_, _, _]))
            return null;
        var (prefix, digits) = PrefixText.Split(parts[0]);
        if (prefix is not { } how || ExactDecimal.Parse(digits) is not { } number)
            return null;
        if (parts is [_] or [_, "", ""])
            return [new QuantityTest.AnyUnit(Range(how, number, One))];

        var (system, code) = (SearchText.Unescape(parts[1]), SearchText.Unescape(parts[2]));
        if (code.Length == 0)
            return null;
        if (system.Length > 0)
        {
            var (unit, factor) = IndexedQuantity.UnitOf(code, system);
            return [new QuantityTest.InUnit(unit, Range(how, number, factor))];
        }

        // Without a system the code may be UCUM's, another system's, or the unit as people read it.
        var (ucum, times) = IndexedQuantity.UcumUnitOf(code);
        return [new QuantityTest.InUnit(ucum, Range(how, number, times)), new QuantityTest.InUnitNamed(code, Range(how, number, One))];
    }

    private static ExactDecimal One => new(1, 0);

    private static NumberRange Range(Prefix prefix, ExactDecimal number, ExactDecimal factor)
    {
        var tenth = number with { Scale = number.Scale + 1 };
        var margin = tenth.Digits.Sign < 0 ? tenth.Negated() : tenth;
        string At(ExactDecimal value) => value.Times(factor).Sortable();
        var (low, high) = (At(number.Plus(number.HalfUnit().Negated())), At(number.Plus(number.HalfUnit())));
        return prefix switch
        {
            Prefix.Eq => new(low, true, high, false, Outside: false),
            Prefix.Ne => new(low, true, high, false, Outside: true),
            Prefix.Lt => new(null, false, At(number), false, Outside: false),
            Prefix.Le => new(null, false, At(number), true, Outside: false),
            Prefix.Gt => new(At(number), false, null, false, Outside: false),
            Prefix.Ge => new(At(number), true, null, false, Outside: false),
            Prefix.Sa => new(high, true, null, false, Outside: false),
            Prefix.Eb => new(null, false, low, false, Outside: false),
            Prefix.Ap => new(
                At(number.Plus(margin.Negated()).Plus(number.HalfUnit().Negated())),
                true,
                At(number.Plus(margin).Plus(number.HalfUnit())),
                false,
                Outside: false
            ),
        };
    }
}
