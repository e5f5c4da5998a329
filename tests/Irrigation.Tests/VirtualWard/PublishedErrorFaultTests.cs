using Xunit.Abstractions;

namespace Irrigation.Tests.VirtualWard;

/// <summary>Faults at beds charted with published errors: how soon is somebody told, and what does the bladder hold by then?</summary>
/// <remarks>Beside <see cref="InjectedFaultTests"/>, which is stricter: its charts are as wrong as the product reckons with.</remarks>
public class PublishedErrorFaultTests(ITestOutputHelper output)
{
    private static readonly Lazy<Bed[]> Beds = new(() =>
        [
            .. from fault in Enum.GetValues<Fault>()
            where fault != Fault.None
            from bed in VirtualWards.Of([.. ChartingWay.Hourly, ChartingWay.AsOnWards[1]], VirtualWards.PerBand / 20, Plan(fault), Bed.Of)
            select bed,
        ]
    );

    [Fact]
    public void An_obstruction_is_found_at_hourly_rounds()
    {
        Report.Write(
            output,
            6,
            "Faults: from the fault to the first flag about the outflow after it",
            "Rounds | Fault | Flow, mL/h | Beds | Found | Minutes, median | of 95 in 100 | Retained, mL, median | of 95 in 100",
            from way in Beds.Value.GroupBy(bed => bed.Way.Name)
            from fault in way.GroupBy(bed => bed.Fault)
            from band in FlowBand.EachAndAll(fault, bed => bed.Band)
            select Row(way.Key, fault.Key, band.Flow, band.Beds)
        );
        var blocked = Beds.Value.Where(bed => bed.Fault is Fault.Sudden or Fault.Slow && bed.Way.Every == 60);
        Assert.All(blocked, bed => Assert.NotNull(bed.Minutes));
    }

    private static Func<FlowBand, bool, BedPlan> Plan(Fault fault) => (band, titrated) => new(band, titrated, Fault: fault);

    private static string Row(string way, Fault fault, string flow, Bed[] beds)
    {
        var found = beds.Where(bed => bed.Minutes is not null).ToArray();
        var minutes = found.Select(bed => bed.Minutes!.Value).Order().ToArray();
        var retained = fault is Fault.Leak or Fault.WrongBag ? [] : found.Select(bed => bed.Retained).Order().ToArray();
        double[] figures = [At(minutes, 0.5), At(minutes, 0.95), At(retained, 0.5), At(retained, 0.95)];
        return Report.Row([way, Slug.Of(fault), flow, beds.Length, found.Length, .. figures.Cast<object>()]);
    }

    private static double At(double[] ordered, double part) =>
        ordered.Length == 0 ? double.NaN : ordered[Math.Min(ordered.Length - 1, (int)(part * ordered.Length))];

    /// <summary>A fault: the minutes from it to the first flag about the outflow, and what the bladder retained by then.</summary>
    private sealed record Bed(ChartingWay Way, FlowBand Band, Fault Fault, double? Minutes, double Retained)
    {
        public static Bed Of(ChartedBed chart, Random chance)
        {
            var bed = chart.Bed;
            var first = FlagWatch.Raised(chart).FirstOrDefault(flag => flag.AboutOutflow && flag.Minute > bed.Onset);
            return new(chart.Way, bed.Plan.Band, bed.Plan.Fault, first?.Minute - bed.Onset, first is null ? 0 : bed.Retained(first.Minute));
        }
    }
}
