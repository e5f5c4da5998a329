using CsCheck;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using Irrigation.Runs;
using Irrigation.Tests.Flags;
using NodaTime;

namespace Irrigation.Tests.Runs;

/// <summary>What must hold of the runs of every log, whatever was charted, named or not, in whatever order it came.</summary>
public class RunPropertyTests
{
    private static readonly Instant Start = Instant.FromUtc(2026, 3, 14, 7, 0);
    private static readonly Instant End = Start + Duration.FromHours(14);
    private static readonly EpisodeFrame Frame = new(Start, null, DateTimeZone.Utc, [new(7, 0), new(19, 0)]);

    /// <summary>Cycles close to one another, with what belongs to them; some named, some amended or withdrawn.</summary>
    private static readonly Gen<Entry[]> Days = Gen.Select(Gen.Int[0, 40], Gen.Int[0, 300], Gen.Int[0, 12], Gen.Int[0, 30], Gen.Int[0, 2])
        .Select(Draw)
        .Array[0, 40];

    [Fact]
    public void Whatever_arrives_when_the_runs_and_their_flags_are_those_of_the_whole_log()
    {
        var told = 0;
        Gen.Select(Days, Gen.Int)
            .Sample(
                (day, seed) =>
                {
                    var (balance, record) = Story.Arriving(day, seed, Frame, End, Story.Adult, FlagLimits.Default);
                    var whole = Whole(day);
                    Assert.Equal(Told(whole), Told(balance));
                    Assert.Equal(
                        Stood(FlagRecord.Of(whole, Story.Adult, FlagLimits.Default, End)),
                        Stood(record.After(balance, [], End).Record)
                    );
                    Interlocked.Add(ref told, RunsOfCycles.Of(whole, End).Length);
                },
                iter: Ward.Times(500)
            );
        Assert.True(told >= Ward.Times(500), $"only {told} runs: the property says little");
    }

    [Fact]
    public void Every_aliquot_is_in_one_cycle_and_every_return_in_at_most_one() =>
        Days.Sample(
            day =>
            {
                var balance = Whole(day);
                var cycles = RunsOfCycles.Of(balance, End).SelectMany(run => run.Cycles).ToList();
                var given = cycles.SelectMany(cycle => cycle.Given).Select(aliquot => aliquot.Key).ToList();
                var charted = balance.Log[Channel.Aliquot].After(Instant.MinValue, End).Select(entry => entry.Key);
                Assert.Equal(charted.OrderBy(key => key.ToString()), given.OrderBy(key => key.ToString()));
                var returns = cycles.SelectMany(cycle => cycle.Returns).Select(reading => reading.Key).ToList();
                Assert.Equal(returns.Count, returns.Distinct().Count());
            },
            iter: Ward.Times(500)
        );

    [Fact]
    public void The_latest_run_is_that_of_all_runs() =>
        Days.Sample(
            day =>
            {
                var balance = Whole(day);
                Assert.Equal(
                    RunsOfCycles.Of(balance, End).MaxBy(run => run.Cycles[^1].Start)?.First.Key,
                    RunsOfCycles.Latest(balance, End)?.First.Key
                );
            },
            iter: Ward.Times(300)
        );

    private static FluidBalance Whole(Entry[] day) =>
        FluidBalance.Of(EpisodeLog.Empty(Frame).Append(day, Start).Log, BalanceSettings.Default);

    private static string Told(FluidBalance balance) =>
        string.Join(
            '\n',
            RunsOfCycles
                .Of(balance, End)
                .Select(run =>
                    $"{run.First.Key} {run.Outcome} {run.Why} "
                    + string.Join(
                        ", ",
                        run.Cycles.Select(c => $"{c.Number}: {c.In.Charted} {c.Back?.Charted} {c.ReturnFrom} {c.Stayed} {c.Shortfall95}")
                    )
                )
        );

    private static IEnumerable<string> Stood(FlagRecord record) =>
        record
            .Ended.Concat(record.Standing)
            .Select(flag => $"{flag.Slug} {flag.Start} {flag.End} {flag.Latest.Priority} {flag.Latest.Says}")
            .Order();

    private static Entry Draw(int id, int step, int amount, int other, int variant)
    {
        var at = Start + Duration.FromMinutes(2 * step);
        var charted = at + Duration.FromHours(2 * variant) + Duration.FromMilliseconds((1000 * step) + (31 * amount) + other);
        var header = new EntryHeader(new("gen", $"{id}"), at)
        {
            RecordedAt = charted,
            Run = other % 7 == 0 ? "a" : null,
            Cycle = other % 5 == 0 ? 1 + (amount % 3) : null,
        };
        var volume = Volume.FromMillilitres(5 * amount);
        return ((id + variant) % 14) switch
        {
            0 or 1 or 2 or 3 => new IrrigantInstilled(header with { How = MeasuringWay.Syringe }, "1", volume),
            4 or 5 or 6 => new DrainageEmptied(header, other % 2 == 0 ? "basin" : "1", volume)
            {
                Vessel = other % 3 == 0 ? Vessel.Syringe : null,
            },
            7 => new DrainageLevelRead(header, "1", volume),
            8 => other % 2 == 0 ? new DrainClamped(header) : new DrainReleased(header),
            9 => new DrainageAppearance(header, null, null, "pink", null, other % 2 == 0 ? "none" : "few", null, other % 3 == 0, null),
            10 => other % 2 == 0 ? new BladderScanned(header, volume) : new LeakEstimated(header, volume),
            11 => new OrderSet(header)
            {
                Method = "intermittent-manual",
                Aliquot = volume,
                Cycles = 1 + (amount % 3),
                TimesPerDay = 1 + other,
                Change = (OrderChange)(amount % 4 % 3),
            },
            12 => other % 2 == 0 ? new IrrigationStopped(header, StopReason.Pain) : new WashoutPerformed(header, 2, other % 3 == 0),
            _ => new EnteredInError(header, null),
        };
    }
}
