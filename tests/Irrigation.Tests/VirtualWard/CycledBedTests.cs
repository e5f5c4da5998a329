using Irrigation.Episodes;
using Xunit.Abstractions;

namespace Irrigation.Tests.VirtualWard;

/// <summary>
/// Runs of cycles whose truth is known: short returns found, how often they are called where nothing is wrong, and whether the intervals
/// keep their word.
/// </summary>
public class CycledBedTests(ITestOutputHelper output)
{
    private const int Runs = 150;
    private const int Seed = 20260314;

    private static readonly (string Name, Vessel Vessel, bool Weighed)[] Ways =
    [
        ("basin", Vessel.Basin, false),
        ("jug", Vessel.Jug, false),
        ("syringe", Vessel.Syringe, false),
        ("weighed", Vessel.Basin, true),
    ];

    private static readonly Lazy<ILookup<(CycleFault Fault, string Way), CycledBed>> Beds = new(() =>
    {
        var seeds = new Random(Seed);
        var places =
            from fault in Enum.GetValues<CycleFault>()
            from way in Ways
            from bed in Enumerable.Range(0, Runs)
            select (fault, way, seed: seeds.Next());
        return places
            .ToArray()
            .AsParallel()
            .AsOrdered()
            .Select(place =>
                (place.fault, place.way.Name, Bed: new CycledBed(place.fault, place.way.Vessel, place.way.Weighed, new(place.seed)))
            )
            .ToLookup(made => (made.fault, made.Name), made => made.Bed);
    });

    [Fact]
    public void Short_returns_are_found_and_few_are_called_where_nothing_is_wrong()
    {
        Report.Write(
            output,
            90,
            "Runs of cycles",
            "Fault | Return measured by | Runs | Really short | Of them flagged | Others flagged | By the first return | By the second",
            Beds.Value.Select(beds =>
                Report.Row(
                    beds.Key.Fault,
                    beds.Key.Way,
                    beds.Count(),
                    beds.Count(bed => bed.ReallyShort),
                    beds.Count(bed => bed.ReallyShort && bed.Raised is not null),
                    beds.Count(bed => !bed.ReallyShort && bed.Raised is not null),
                    beds.Count(bed => bed.RaisedAt == bed.FaultFrom),
                    beds.Count(bed => bed.RaisedAt == bed.FaultFrom + 1)
                )
            )
        );
        foreach (var (way, _, _) in Ways)
        {
            Assert.InRange(Part(CycleFault.None, way, bed => bed.Raised is not null), 0, 0.02);
            Assert.InRange(Part(CycleFault.ChartedLeak, way, bed => bed.Raised is not null), 0, 0.08); // judged by eye, ±50 %
            Assert.InRange(Part(CycleFault.OneWay, way, bed => bed.RaisedAt == bed.FaultFrom), 0.97, 1);
            foreach (var fault in (CycleFault[])[CycleFault.Clot, CycleFault.Leak])
            {
                var really = Beds.Value[(fault, way)].Where(bed => bed.ReallyShort).ToList();
                Assert.True(really.Count > Runs / 3);
                // Some are short by next to nothing more than the limit, which a basin cannot tell.
                Assert.InRange((double)really.Count(bed => bed.Raised is not null) / really.Count, 0.7, 1);
            }
        }
    }

    [Fact]
    public void Intervals_of_what_did_not_come_back_cover_the_truth()
    {
        foreach (var way in Ways.Select(way => way.Name).Append("all"))
        {
            var coverage = Beds
                .Value.Where(beds => way == "all" || beds.Key.Way == way)
                .SelectMany(beds => beds)
                .Select(bed => bed.Coverage)
                .ToList();
            var covered = Report.Share(coverage.Sum(c => c.Covered), coverage.Sum(c => c.Cycles));
            output.WriteLine(FormattableString.Invariant($"{way}: {covered:0.0} % of {coverage.Sum(c => c.Cycles)} intervals"));
            Assert.InRange(covered, 93, 97);
        }
    }

    private static double Part(CycleFault fault, string way, Func<CycledBed, bool> so) =>
        (double)Beds.Value[(fault, way)].Count(so) / Beds.Value[(fault, way)].Count();
}
