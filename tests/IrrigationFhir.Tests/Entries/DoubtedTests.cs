using System.Collections.Immutable;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using IrrigationFhir.Record;
using NodaTime;

namespace IrrigationFhir.Tests.Entries;

/// <summary>Who is told of a doubt: the sender of the reading, as often as it is sent, and whoever made it doubtful.</summary>
public class DoubtedTests
{
    private static readonly Instant Noon = Instant.FromUtc(2026, 3, 14, 12, 0);
    private static readonly EntryKey Reading = new("scale", "d1200"),
        Flow = new("ward", "flow"),
        Other = new("ward", "leak");
    private static readonly Doubt TooMuch = new(DoubtKind.OutputAboveCeiling, Reading, "3900 mL in 1 h are more than a body makes");

    private static readonly EpisodeLog Log = EpisodeLog
        .Empty(new EpisodeFrame(Noon - Duration.FromHours(1), null, DateTimeZone.Utc, []))
        .Append([new DrainageEmptied(new(Reading, Noon), "1", Volume.FromMillilitres(3900))], Noon)
        .Log;

    private static readonly FluidBalance Balance = FluidBalance.Of(Log, BalanceSettings.Default);
    private static readonly ClosedInterval Sure = Balance[FluidBalance.Bladder].Single() with { Doubts = [] };
    private static readonly ClosedInterval InDoubt = Sure with { Doubts = [TooMuch] };

    [Fact]
    public void The_reading_that_is_doubted_is_told_when_it_arrives()
    {
        var told = DoubtsOfChange.By(Sent(Reading, Other), [new(null, InDoubt, [Reading])], Balance);
        Assert.Equal([TooMuch], told[Reading]);
        Assert.Empty(told[Other]);
    }

    [Fact]
    public void What_makes_an_earlier_reading_doubtful_is_told_in_its_place()
    {
        var told = DoubtsOfChange.By(Sent(Flow, Other), [new(Sure, InDoubt, [Flow, Other])], Balance);
        Assert.Equal([TooMuch], told[Flow]);
        Assert.Empty(told[Other]);
    }

    [Fact]
    public void A_doubt_that_was_there_before_is_not_told_to_others_again()
    {
        var told = DoubtsOfChange.By(Sent(Other), [new(InDoubt, InDoubt with { Leaked = Volume.FromMillilitres(10) }, [Other])], Balance);
        Assert.Empty(told);
    }

    [Fact]
    public void A_doubt_that_was_lifted_is_told_to_nobody() =>
        Assert.Empty(DoubtsOfChange.By(Sent(Other), [new(InDoubt, Sure, [Other])], Balance));

    private static ImmutableArray<(Disposition, LoggedEntry)> Sent(params EntryKey[] keys) =>
        [
            .. keys.Select(
                (key, i) =>
                    (
                        Disposition.Recorded,
                        new LoggedEntry(i + 1, 1, new LeakEstimated(new(key, Noon), Volume.Zero), Noon, Disposition.Recorded)
                    )
            ),
        ];
}
