namespace Irrigation.Tests.VirtualWard;

/// <summary>How fast irrigant runs.</summary>
/// <param name="From">The slowest, in mL/h.</param>
/// <param name="To">The fastest, in mL/h.</param>
internal sealed record FlowBand(double From, double To)
{
    /// <summary>Slow, ordinary, usual after resection, fast (clinical reference 2.7).</summary>
    public static IReadOnlyList<FlowBand> All { get; } = [new(60, 100), new(100, 300), new(300, 600), new(600, 1000)];

    /// <summary>The beds of each band, and all together.</summary>
    public static IEnumerable<(string Flow, T[] Beds)> EachAndAll<T>(IEnumerable<T> beds, Func<T, FlowBand> of) =>
        beds.GroupBy(of).Select(band => (band.Key.ToString(), band.ToArray())).Append(("all", [.. beds]));

    /// <inheritdoc/>
    public override string ToString() => $"{From:0}-{To:0}";
}

/// <summary>What lies in a bed.</summary>
/// <param name="Band">Its flow stays in this band.</param>
/// <param name="Titrated">The flow is set anew every few hours; else once.</param>
/// <param name="MakesUrine">0 to 1.5 mL/kg/h, all as likely; or none at all.</param>
/// <param name="Fault">What goes wrong.</param>
/// <param name="Hours">How long it is watched.</param>
internal sealed record BedPlan(FlowBand Band, bool Titrated, bool MakesUrine = true, Fault Fault = Fault.None, int Hours = 24);

/// <summary>The flow as it was charted, from a minute on.</summary>
internal readonly record struct FlowSetting(int Minute, double Charted);

/// <summary>A bag, from the minute in which it was hung.</summary>
/// <param name="Minute">Hung.</param>
/// <param name="Label">What its label says, in mL.</param>
/// <param name="Content">What it really holds, in mL.</param>
/// <param name="Delivered">What it gives until it is empty, in mL.</param>
/// <param name="Before">What had run from the bags before it, in mL.</param>
internal readonly record struct HungBag(int Minute, double Label, double Content, double Delivered, double Before);

/// <summary>What really happens at a bed, minute by minute; nobody on the ward knows it.</summary>
/// <remarks>Nobody answers a flag, so what a blocked bladder holds only grows.</remarks>
internal sealed class WardBed
{
    private const double PartOfBlocked = 0.3;
    private const double PartOfLeak = 0.33;
    private readonly double[] irrigant;
    private readonly double[] urine;
    private readonly double[] drained;
    private readonly double[] retained;

    public WardBed(BedPlan plan, Random chance)
    {
        (Plan, Errors) = (plan, new PublishedErrors(chance));
        Minutes = plan.Hours * 60;
        (irrigant, urine) = (new double[Minutes + 1], new double[Minutes + 1]);
        (drained, retained) = (new double[Minutes + 1], new double[Minutes + 1]);
        Kilograms = Math.Round(chance.Within(50, 100));
        Onset = plan.Fault == Fault.None ? int.MaxValue : chance.Next(180, 300);
        MakeUrine(chance);
        Run(chance);
    }

    public BedPlan Plan { get; }

    public PublishedErrors Errors { get; }

    public int Minutes { get; }

    public double Kilograms { get; }

    /// <summary>The minute from which it goes wrong.</summary>
    public int Onset { get; }

    public List<FlowSetting> Flows { get; } = [];

    public List<HungBag> Bags { get; } = [];

    /// <summary>Irrigant that had run into the bladder by a minute.</summary>
    public double Irrigant(double minute) => At(irrigant, minute);

    /// <summary>Urine that the kidneys had made by a minute.</summary>
    public double Urine(double minute) => At(urine, minute);

    /// <summary>What had come into the container by a minute.</summary>
    public double Drained(double minute) => At(drained, minute);

    /// <summary>What a blocked bladder held at a minute.</summary>
    public double Retained(double minute) => At(retained, minute);

    /// <summary>mL/kg/h of urine between two minutes.</summary>
    public double UrineRate(double from, double to) => (Urine(to) - Urine(from)) / Kilograms / ((to - from) / 60);

    /// <summary>Slowly up and down round the bed's own rate, by up to 30 % over 8 to 24 h. Our judgement.</summary>
    private void MakeUrine(Random chance)
    {
        var rate = Plan.MakesUrine ? chance.Within(0, 1.5) * Kilograms / 60 : 0;
        var (swing, period, phase) = (chance.Within(0, 0.3), chance.Within(8, 24) * 60, chance.Within(0, 2 * Math.PI));
        for (var minute = 1; minute <= Minutes; minute++)
        {
            urine[minute] = urine[minute - 1] + (rate * (1 + (swing * Math.Sin((2 * Math.PI * minute / period) + phase))));
        }
    }

    private void Run(Random chance)
    {
        var real = 0.0;
        var (left, whole, next) = (0.0, 0.0, 0);

        void Set(int minute)
        {
            Flows.Add(new(minute, Math.Round(chance.WithinByFactor(Plan.Band.From, Plan.Band.To) / 10) * 10));
            real = Flows[^1].Charted / 60 * (1 + Errors.FlowOfBed + Errors.FlowOfSetting());
            next = Plan.Titrated ? minute + (int)chance.Within(120, 360) : int.MaxValue; // to colour, every 2 to 6 h: our judgement
        }

        void Hang(int minute)
        {
            var label = Flows[0].Charted < 150 ? 1000 : 3000;
            var wrong = Plan.Fault == Fault.WrongBag && minute >= Onset && Bags[^1].Minute < Onset;
            var content = (wrong ? label * 2 / 3.0 : label) * (1 + Errors.Overfill);
            whole = left = content - Errors.Residue();
            Bags.Add(new(minute, label, content, whole, irrigant[minute]));
        }

        Set(0);
        Hang(0);
        for (var minute = 1; minute <= Minutes; minute++)
        {
            var into = Math.Min(real * (1 + (Errors.Slowing * ((2 * left / whole) - 1))), left);
            left -= into;
            irrigant[minute] = irrigant[minute - 1] + into;
            var made = into + urine[minute] - urine[minute - 1];
            var passes = Passes(minute);
            retained[minute] = retained[minute - 1] + (made * (1 - passes));
            drained[minute] = drained[minute - 1] + (made * passes * Reaches(minute));
            if (left < 0.01)
                Hang(minute);
            if (minute >= next)
                Set(minute);
        }
    }

    private double Passes(int minute) =>
        minute <= Onset
            ? 1
            : Plan.Fault switch
            {
                Fault.Sudden => 0,
                Fault.Partial => PartOfBlocked,
                Fault.Slow => Math.Max(0, 1 - ((minute - Onset) / 180.0)),
                Fault.None or Fault.Leak or Fault.WrongBag => 1,
            };

    /// <summary>Which part of what leaves the bladder reaches the container.</summary>
    private double Reaches(int minute) => Plan.Fault == Fault.Leak && minute > Onset ? 1 - PartOfLeak : 1;

    private static double At(double[] running, double minute)
    {
        var at = Math.Clamp(minute, 0, running.Length - 1);
        var whole = (int)at;
        return whole == running.Length - 1 ? running[whole] : running[whole] + ((at - whole) * (running[whole + 1] - running[whole]));
    }
}
