using CsCheck;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Tests;

/// <summary>What must hold of every log, whatever was charted in whatever order.</summary>
public class PropertyTests
{
    private static readonly Instant Start = Instant.FromUtc(2026, 3, 14, 7, 0);
    private static readonly EpisodeFrame Frame = new(Start, null, DateTimeZone.Utc, [new(7, 0), new(19, 0)]);

    /// <summary>A night of anything, at 5-minute steps so that coincidences are common; some entries twice, amended or withdrawn.</summary>
    private static readonly Gen<Entry[]> Nights = Gen.Select(Gen.Int[0, 24], Gen.Int[0, 160], Gen.Int[0, 30], Gen.Int[0, 30], Gen.Int[0, 3])
        .Select(Draw)
        .Array[0, 40];

    private static readonly Gen<(Entry[] Night, int Seed)> Shuffled = Gen.Select(Nights, Gen.Int);

    [Fact]
    public void The_order_and_the_batches_of_arrival_change_nothing() =>
        Shuffled.Sample(
            (night, seed) =>
            {
                var other = night.ToArray();
                new Random(seed).Shuffle(other);
                AssertSame(Whole(night), Stepwise(other, seed));
            },
            iter: Ward.Times(3000)
        );

    [Fact]
    public void Versions_of_one_entry_at_one_instant_count_whatever_came_first()
    {
        var (half, nine) = (Start + Duration.FromMinutes(30), Start + Duration.FromHours(2));
        EntryHeader Header(Instant at, int charted) => new(new("ward", "1"), at) { RecordedAt = nine + Duration.FromHours(charted) };
        Entry[] versions =
        [
            new LeakEstimated(Header(half, 1), Volume.FromMillilitres(200)),
            new UrineCollected(Header(half, 2), UrineRoute.LeftNephrostomy, Volume.FromMillilitres(200)),
            new UrineCollected(Header(nine + Duration.FromHours(1), 3), UrineRoute.LeftNephrostomy, Volume.FromMillilitres(200)),
        ];
        AssertInAnyOrder(versions, OutputStatus.Corrected);
    }

    [Fact]
    public void Amending_there_and_back_ends_the_same_whatever_came_first()
    {
        EntryHeader Header(int minutes, int charted) =>
            new(new("ward", "1"), Start + Duration.FromMinutes(minutes)) { RecordedAt = Start + Duration.FromHours(charted) };
        AssertInAnyOrder(
            [new DrainReleased(Header(30, 3)), new DrainReleased(Header(90, 4)), new DrainReleased(Header(30, 5))],
            OutputStatus.Final
        );
    }

    [Fact]
    public void An_append_works_out_what_a_fresh_start_would() =>
        Shuffled.Sample((night, seed) => AssertSame(Whole(night), Stepwise(night, seed)), iter: Ward.Times(3000));

    [Fact]
    public void The_same_entries_again_change_nothing() =>
        Nights.Sample(
            night =>
            {
                var balance = Whole(night);
                var again = balance.Log.Append(night, Start);
                Assert.Empty(again.Changes);
                Assert.Equal(balance.Log.LastSequence, again.Log.LastSequence);
            },
            iter: Ward.Times(1000)
        );

    [Fact]
    public void Any_partition_into_windows_adds_up_to_the_closed_intervals() =>
        Gen.Select(Nights, Gen.Int[1, 400].Array[0, 12])
            .Sample(
                (night, cuts) =>
                {
                    var balance = Whole(night);
                    foreach (var interval in balance[FluidBalance.Bladder].Where(i => i.Output is not null && i.Length > Duration.Zero))
                    {
                        Instant[] edges =
                        [
                            interval.Start,
                            .. cuts.Select(c => Start + Duration.FromMinutes(c))
                                .Where(c => c > interval.Start && c < interval.End)
                                .Distinct()
                                .Order(),
                            interval.End,
                        ];
                        var sum = edges
                            .Zip(edges.Skip(1), (from, to) => interval.OutputBetween(from, to)!.Value)
                            .Aggregate(Volume.Zero, (a, b) => a + b);
                        Assert.Equal(interval.Output!.Headline.Millilitres, sum.Millilitres, 12);
                    }
                },
                iter: Ward.Times(1000)
            );

    [Fact]
    public void Windows_side_by_side_add_up_to_all_streams_together()
    {
        var told = 0;
        Gen.Select(Nights, Gen.Int[1, 800].Array[0, 12])
            .Sample(
                (night, cuts) =>
                {
                    var balance = Whole(night);
                    var intervals = balance.Streams.SelectMany(s => balance[s]).ToList();
                    if (intervals.Count < 2 || intervals.Any(i => i.Output is null))
                        return;
                    // What another route gave after the bladder's last closing point is in no window yet.
                    var end = balance[FluidBalance.Bladder].IsEmpty ? intervals.Max(i => i.End) : balance.LastClosing;
                    if (end == Start)
                        return;
                    Instant[] edges =
                    [
                        Start,
                        .. cuts.Select(c => Start + Duration.FromMinutes(c)).Where(c => c < end).Distinct().Order(),
                        end,
                    ];
                    var windows = edges.Zip(edges.Skip(1), (from, to) => balance.Over(WindowKind.Trailing, new(from, to)));
                    Assert.Equal(intervals.Sum(i => i.OutputBetween(Start, end)!.Value.Millilitres), windows.Sum(w => Headline(w)), 12);
                    Interlocked.Increment(ref told);
                },
                iter: 3000
            );
        Assert.True(told > 100, $"only {told} nights had several intervals, all known: the property says little");
    }

    [Fact]
    public void Two_windows_side_by_side_add_up_to_their_union()
    {
        var told = 0;
        Gen.Select(Nights, Gen.Int[0, 850].Array[3])
            .Sample(
                (night, cuts) =>
                {
                    var balance = Whole(night);
                    Instant[] at = [.. cuts.Order().Distinct().Select(c => Start + Duration.FromMinutes(c))];
                    if (at.Length < 3)
                        return;
                    var (one, other, union) = (
                        balance.Over(WindowKind.Trailing, new(at[0], at[1])),
                        balance.Over(WindowKind.Trailing, new(at[1], at[2])),
                        balance.Over(WindowKind.Trailing, new(at[0], at[2]))
                    );
                    Assert.Equal(one.Covered + other.Covered, union.Covered);
                    if (union.Output is null)
                        return;
                    Assert.Equal(union.Output.Headline.Millilitres, Headline(one) + Headline(other), 12);
                    Assert.Equal(union.DrainageCharted, one.DrainageCharted + other.DrainageCharted);

                    // Totals of overlapping times on one line are refused at the door; here they come in, and a window may see one or both.
                    if (night.All(e => e is not IrrigantInstilled || Contradictions.Of(e, balance.Log, "night") is null))
                    {
                        Assert.Equal(
                            union.IrrigantCharted?.Millilitres ?? 0,
                            (one.IrrigantCharted + other.IrrigantCharted)?.Millilitres ?? 0,
                            12
                        );
                    }

                    // Doubts of one source add up with their sign: the union is never less certain than its parts together.
                    if (union.Output.BestEstimate is { } whole && one.Output?.BestEstimate is { } a && other.Output?.BestEstimate is { } b)
                    {
                        Assert.True(
                            whole.StandardUncertainty.Millilitres
                                <= a.StandardUncertainty.Millilitres + b.StandardUncertainty.Millilitres + 0.00001m
                        );
                    }

                    Interlocked.Increment(ref told);
                },
                iter: 3000
            );
        Assert.True(told > 100, $"only {told} unions had an output: the property says little");
    }

    [Fact]
    public void Litres_and_millilitres_of_the_same_amount_are_the_same_night() =>
        Nights.Sample(
            night =>
            {
                static Volume Litres(Volume volume) => Volume.FromLitres(volume.Millilitres / 1000);
                Entry[] inLitres =
                [
                    .. night.Select(e =>
                        e switch
                        {
                            BagHung hung => hung with { Labelled = Litres(hung.Labelled) },
                            BagRead read => read with { Remaining = Litres(read.Remaining) },
                            BagTakenDown down => down with { Remaining = down.Remaining is { } left ? Litres(left) : null },
                            IrrigantInstilled total => total with { Amount = Litres(total.Amount) },
                            PumpTotalRead total => total with { Total = Litres(total.Total) },
                            DrainageEmptied emptied => emptied with { Drained = Litres(emptied.Drained) },
                            DrainageLevelRead level => level with { Level = Litres(level.Level) },
                            LeakEstimated leak => leak with { Amount = Litres(leak.Amount) },
                            UrineCollected urine => urine with { Amount = Litres(urine.Amount) },
                            BladderScanned scan => scan with { Held = Litres(scan.Held) },
                            _ => e,
                        }
                    ),
                ];
                AssertSame(Whole(night), Whole(inLitres));
            },
            iter: Ward.Times(1000)
        );

    [Fact]
    public void More_drainage_never_lowers_the_output() =>
        Gen.Select(Nights, Gen.Int[1, 500])
            .Sample(
                (night, more) =>
                {
                    var emptied = night.OfType<DrainageEmptied>().FirstOrDefault(e => night.Count(o => o.Key == e.Key) == 1);
                    if (emptied is null)
                        return;
                    var raised = night
                        .Select(e => e == emptied ? emptied with { Drained = emptied.Drained + Volume.FromMillilitres(more) } : e)
                        .ToArray();

                    // An emptying that left a part closes nothing; one that takes off more may close an interval that was not there before.
                    var pairs = Whole(night)[FluidBalance.Bladder]
                        .Join(
                            Whole(raised)[FluidBalance.Bladder],
                            i => (i.Start, i.End),
                            i => (i.Start, i.End),
                            (First, Second) => (First, Second)
                        );
                    Assert.All(
                        pairs.Where(p => p.First.Output is not null && p.Second.Output is not null),
                        p => Assert.True(p.Second.Output!.Headline >= p.First.Output!.Headline)
                    );
                },
                iter: Ward.Times(1000)
            );

    [Fact]
    public void Moving_all_instants_moves_the_result_and_nothing_else() =>
        Gen.Select(Nights, Gen.Int[-5000, 5000])
            .Sample(
                (night, minutes) =>
                {
                    var by = Duration.FromMinutes(minutes);
                    var moved = night
                        .Select(e =>
                            e with
                            {
                                Header = e.Header with
                                {
                                    Key = e.Key,
                                    At = e.At + by,
                                    From = e.Header.From + by,
                                    RecordedAt = e.Header.RecordedAt + by,
                                },
                            }
                        )
                        .ToArray();
                    var balance = FluidBalance.Of(
                        EpisodeLog.Empty(Frame with { Start = Start + by }).Append(moved, Start + by).Log,
                        BalanceSettings.Default
                    );
                    Assert.Equal(
                        Whole(night)[FluidBalance.Bladder].Select(i => (i.Start + by, i.End + by, i.Output, i.Simple, i.Status)),
                        balance[FluidBalance.Bladder].Select(i => (i.Start, i.End, i.Output, i.Simple, i.Status))
                    );
                },
                iter: Ward.Times(1000)
            );

    [Fact]
    public void A_withdrawal_undoes_exactly() =>
        Shuffled.Sample(
            (night, seed) =>
            {
                var extra = Draw(1000 + (seed & 7), (seed >> 3) & 127, 3, 7, 0);
                var without = Whole(night);
                var (with, _) = without.After(without.Log.Append([extra], Start));
                var error = new EnteredInError(extra.Header with { RecordedAt = Start + Duration.FromDays(2) }, null);
                var (undone, _) = with.After(with.Log.Append([error], Start));
                Assert.Equal(Numbers(without), Numbers(undone));
            },
            iter: Ward.Times(1000)
        );

    private static IEnumerable<(Instant, Instant, UrineOutput?, Volume?)> Numbers(FluidBalance balance) =>
        balance.Streams.SelectMany(s => balance[s]).Select(i => (i.Start, i.End, i.Output, i.Simple));

    /// <summary>A window's headline; what nothing covers adds nothing.</summary>
    private static decimal Headline(OutputWindow window)
    {
        Assert.True(window.Output is not null || window.Absent == AbsentReason.NotCovered);
        return window.Output?.Headline.Millilitres ?? 0;
    }

    private static Entry Draw(int id, int step, int amount, int other, int variant)
    {
        var at = Start + Duration.FromMinutes(5 * step);
        var header = new EntryHeader(new("gen", $"{id}"), at)
        {
            RecordedAt =
                Start + Duration.FromHours(20 * variant) + Duration.FromMinutes(step) + Duration.FromMilliseconds((31 * amount) + other),
        };
        var volume = Volume.FromMillilitres(50 * amount);
        var line = id % 5 == 0 ? "2" : "1";
        var container = (other % 7) switch
        {
            0 => "2",
            1 => "jug",
            _ => "1",
        };
        var kind = ((id * 7) + variant) % 23;
        return kind switch
        {
            0 => new BagHung(
                header,
                line,
                Volume.FromMillilitres(3000),
                other % 3 == 0 ? null : $"bag {other % 3}",
                null,
                null,
                amount % 2 == 0 ? Volume.Zero : null
            ),
            1 => new BagRead(header, line, volume),
            2 => new BagTakenDown(header, line, amount % 5 == 0 ? null : volume) { Bag = other % 4 == 1 ? "bag 1" : null },
            3 or 4 => new FlowSet(header, line, FlowRate.FromMillilitresPerHour(amount % 4 == 0 ? 0 : 40 * amount), null, null),
            5 => new IrrigantInstilled(header, line, volume),
            6 => new IrrigantInstilled(header with { From = at - Duration.FromMinutes(5 * (other + 1)) }, line, volume),
            7 => new IrrigantInstilled(header with { How = MeasuringWay.Syringe }, line, volume),
            8 => new PumpTotalRead(header, line, Volume.FromMillilitres(20 * step + amount), other == 0),
            9 or 10 or 11 => new DrainageEmptied(header, container, volume),
            12 => new DrainageLevelRead(header, container, other % 4 == 0 ? Volume.Zero : volume),
            13 => new LeakEstimated(header, volume),
            14 => new UrineCollected(header, other % 3 == 0 ? UrineRoute.LeftNephrostomy : UrineRoute.UrethralCatheter, volume),
            15 => new DrainClamped(header),
            16 => new DrainReleased(header),
            17 => new BladderScanned(header, volume),
            18 => new IrrigantDiscarded(header, line, volume),
            19 => new BloodRemoved(header, volume, null),
            20 => new ContainerTakenAway(header, container, null),
            21 => new ReadingConfirmed(header, new("gen", $"{other}")),
            _ => new EnteredInError(header, null),
        };
    }

    private static FluidBalance Whole(Entry[] night) =>
        FluidBalance.Of(EpisodeLog.Empty(Frame).Append(night, Start).Log, BalanceSettings.Default);

    /// <summary>Three versions in any order, beside a reading whose interval they fall into.</summary>
    private static void AssertInAnyOrder(Entry[] versions, OutputStatus status)
    {
        var reading = new UrineCollected(
            new(new("ward", "reading"), Start + Duration.FromHours(1)),
            UrineRoute.UrethralCatheter,
            Volume.FromMillilitres(50)
        );
        int[][] orders =
        [
            [0, 1, 2],
            [0, 2, 1],
            [1, 0, 2],
            [1, 2, 0],
            [2, 0, 1],
            [2, 1, 0],
        ];
        var balances = orders.Select(order => Whole([reading, .. order.Select(i => versions[i])])).ToList();
        Assert.All(balances, balance => AssertSame(balances[0], balance));
        Assert.Equal(status, balances[0][FluidBalance.Bladder].Single().Status);
    }

    private static FluidBalance Stepwise(Entry[] night, int seed)
    {
        var chance = new Random(seed);
        var balance = FluidBalance.Of(EpisodeLog.Empty(Frame), BalanceSettings.Default);
        for (var i = 0; i < night.Length; )
        {
            var batch = night.Skip(i).Take(chance.Next(1, 6)).ToArray();
            (balance, _) = balance.After(balance.Log.Append(batch, Start));
            i += batch.Length;
        }

        return balance;
    }

    private static void AssertSame(FluidBalance expected, FluidBalance actual)
    {
        Assert.Equal(expected.Streams, actual.Streams);
        foreach (var stream in expected.Streams)
        {
            foreach (var (one, other) in expected[stream].Zip(actual[stream]))
            {
                Assert.Equal(
                    (
                        one.Start,
                        one.End,
                        one.Instilled,
                        one.Drained,
                        one.RetainedChange,
                        one.Output,
                        one.Absent,
                        one.Simple,
                        one.Status,
                        string.Join(' ', one.Caveats),
                        string.Join(' ', one.Parts)
                    ),
                    (
                        other.Start,
                        other.End,
                        other.Instilled,
                        other.Drained,
                        other.RetainedChange,
                        other.Output,
                        other.Absent,
                        other.Simple,
                        other.Status,
                        string.Join(' ', other.Caveats),
                        string.Join(' ', other.Parts)
                    )
                );
            }

            Assert.Equal(expected[stream].Count, actual[stream].Count);
        }
    }
}
