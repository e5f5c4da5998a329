namespace Irrigation.Measures;

/// <summary>An amount of fluid, kept exactly in millilitres.</summary>
/// <remarks>
/// Any sign: a measured volume is 0 mL or more (the reader of entries refuses others), a derived one may be negative and
/// is never clamped. Default is 0 mL. Range and precision are those of <see cref="decimal"/>; overflow throws.
/// </remarks>
public readonly record struct Volume : IComparable<Volume>
{
    private Volume(decimal millilitres) => Millilitres = millilitres;

    /// <summary>The amount in mL.</summary>
    public decimal Millilitres { get; }

    /// <summary>0 mL, a measurement like any other; "not measured" is a missing <see cref="Volume"/>, never this one.</summary>
    public static Volume Zero { get; }

    /// <summary>A volume of so many millilitres.</summary>
    public static Volume FromMillilitres(decimal millilitres) => new(millilitres);

    /// <summary>A volume of so many litres.</summary>
    public static Volume FromLitres(decimal litres) => new(litres * 1000m);

    /// <summary>This volume times part/whole, worked in that order so that the parts of a whole add up.</summary>
    /// <param name="part">The part, in the same measure as <paramref name="whole"/>.</param>
    /// <param name="whole">The whole; not 0.</param>
    public Volume Share(decimal part, decimal whole) => part == whole ? this : new(Millilitres * part / whole);

    /// <inheritdoc/>
    public int CompareTo(Volume other) => Millilitres.CompareTo(other.Millilitres);

    /// <summary>The sum.</summary>
    public static Volume operator +(Volume left, Volume right) => new(left.Millilitres + right.Millilitres);

    /// <summary>The difference; may be negative.</summary>
    public static Volume operator -(Volume left, Volume right) => new(left.Millilitres - right.Millilitres);

    /// <summary>The same amount with the other sign.</summary>
    public static Volume operator -(Volume volume) => new(-volume.Millilitres);

    /// <summary>A multiple.</summary>
    public static Volume operator *(Volume volume, decimal factor) => new(volume.Millilitres * factor);

    /// <summary>Less than.</summary>
    public static bool operator <(Volume left, Volume right) => left.Millilitres < right.Millilitres;

    /// <summary>More than.</summary>
    public static bool operator >(Volume left, Volume right) => left.Millilitres > right.Millilitres;

    /// <summary>At most.</summary>
    public static bool operator <=(Volume left, Volume right) => left.Millilitres <= right.Millilitres;

    /// <summary>At least.</summary>
    public static bool operator >=(Volume left, Volume right) => left.Millilitres >= right.Millilitres;

    /// <summary>For people, as it is read at a bedside (<see cref="AsRead"/>): <c>450 mL</c>, <c>2,670 mL</c>.</summary>
    public override string ToString() => AsRead.Volume(this);
}
