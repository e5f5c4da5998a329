namespace Irrigation.Measures;

/// <summary>A value with its standard uncertainty (JCGM 100:2008, 2.3.1).</summary>
/// <param name="Value">The best value, in mL.</param>
/// <param name="StandardUncertainty">One standard deviation, in mL; 0 or more.</param>
public readonly record struct Estimate(Volume Value, Volume StandardUncertainty);

/// <summary>The two ends of an interval of volumes; <paramref name="Low"/> is not above <paramref name="High"/>.</summary>
/// <param name="Low">Lower end, in mL; may be negative.</param>
/// <param name="High">Upper end, in mL.</param>
public readonly record struct VolumeRange(Volume Low, Volume High);
