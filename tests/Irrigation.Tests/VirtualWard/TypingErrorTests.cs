using Xunit.Abstractions;

namespace Irrigation.Tests.VirtualWard;

/// <summary>A number typed wrong in an otherwise good chart: does anybody get to hear of it before the next reading is over?</summary>
public class TypingErrorTests(ITestOutputHelper output)
{
    private const double Plain = 200; // mL or g: what a warning of the outflow is set to

    private static readonly Lazy<MistypedReading[]> Mistyped = new(() =>
        [.. VirtualWards.Of(ChartingWay.AsOnWards, VirtualWards.PerBand / 5, Plan, MistypedReading.Of).SelectMany(slips => slips)]
    );

    [Fact]
    public void A_nought_too_many_or_too_few_is_doubted_or_flagged_by_the_next_reading()
    {
        Report.Write(
            output,
            7,
            "Typing errors: doubted or flagged at the entry or by the next reading",
            "Way | Error | Off by, mL or g | Cases | Doubted, % | Flagged, % | Either, % | Flags",
            from way in Mistyped.Value.GroupBy(m => m.Way.Name)
            from error in way.GroupBy(m => m.Error)
            from size in error.GroupBy(m => m.Off < Plain).OrderBy(size => size.Key)
            select Row(way.Key, Slug.Of(error.Key), size.Key ? "under 200" : "200 or more", [.. size])
        );
        var noughts = Mistyped.Value.Where(m => m.Error is TypingError.TenTimes or TypingError.ATenth).ToList();
        Assert.True(noughts.All(m => m.Noticed), $"{noughts.Count(m => !m.Noticed)} of {noughts.Count} are not");

        static string Row(string way, string error, string size, MistypedReading[] all)
        {
            return Report.Row(
                way,
                error,
                size,
                all.Length,
                Report.Share(all.Count(m => m.Doubted), all.Length),
                Report.Share(all.Count(m => m.Flags.Count > 0), all.Length),
                Report.Share(all.Count(m => m.Noticed), all.Length),
                Report.Counted(all.SelectMany(m => m.Flags))
            );
        }
    }

    private static BedPlan Plan(FlowBand band, bool titrated) => new(band, titrated, Hours: 14);
}
