using System.Collections.Immutable;
using CsCheck;
using Irrigation.Balance;
using Irrigation.Episodes;
using Irrigation.Flags;
using Irrigation.Measures;
using NodaTime;

namespace Irrigation.Tests.Flags;

/// <summary>What must hold of the flags of every log, whatever was charted in whatever order and whenever somebody asked.</summary>
public class FlagPropertyTests
{
    private static readonly Instant Start = Instant.FromUtc(2026, 3, 14, 7, 0);
    private static readonly Instant End = Start + Duration.FromHours(16);
    private static readonly EpisodeFrame Frame = new(Start, null, DateTimeZone.Utc, [new(7, 0), new(19, 0)]);
    private static readonly FlagLimits Limits = FlagLimits.Default with
    {
        Flags = FlagSettings.Default with { Scales = ImmutableSortedDictionary<string, ColourScale>.Empty.Add("five grades", new(5)) },
    };
    private static readonly PatientFacts Patient = Story.Adult with
    {
        SpinalLevel = "T4",
        BaselineSystolic = Pressure.FromMillimetresOfMercury(100),
        CatheterInserted = Start - Duration.FromDays(2),
    };

    /// <summary>A night of anything, at 5-minute steps so that coincidences are common; some entries twice, amended or withdrawn.</summary>
    private static readonly Gen<Entry[]> Nights = Gen.Select(Gen.Int[0, 43], Gen.Int[0, 160], Gen.Int[0, 30], Gen.Int[0, 30], Gen.Int[0, 3])
        .Select(Draw)
        .Array[0, 40];

    [Fact]
    public void The_order_and_the_batches_of_arrival_and_the_moments_of_asking_change_nothing()
    {
        var told = 0;
        Gen.Select(Nights, Gen.Int)
            .Sample(
                (night, seed) =>
                {
                    var (balance, record) = Story.Arriving(night, seed, Frame, End, Patient, Limits);
                    record = record.After(balance, [], End).Record;
                    var whole = Whole(night);
                    AssertSame(whole, record);
                    Interlocked.Add(ref told, whole.Ended.Count);
                },
                iter: Ward.Times(1000)
            );
        Assert.True(told >= Ward.Times(1000), $"only {told} flags ended: the property says little");
    }

    [Fact]
    public void What_changed_between_two_records_leads_from_the_one_to_the_other() =>
        Gen.Select(Nights, Nights)
            .Sample(
                (night, late) =>
                {
                    var balance = Balance(night);
                    var before = FlagRecord.Of(balance, Patient, Limits, End);
                    var appended = balance.Log.Append(late, Start);
                    var (after, changes) = before.After(balance.After(appended).Balance, appended.Changes, End);
                    var flags = All(before).ToDictionary(flag => flag.Identity);
                    foreach (var (was, now) in changes)
                    {
                        if (was is not null)
                            Assert.True(flags.Remove(was.Identity, out var stood) && stood == was);
                        if (now is not null)
                            flags.Add(now.Identity, now);
                    }

                    Assert.Equal(
                        All(after).OrderBy(f => f.Start).ThenBy(f => f.Slug),
                        flags.Values.OrderBy(f => f.Start).ThenBy(f => f.Slug)
                    );
                },
                iter: Ward.Times(500)
            );

    [Fact]
    public void A_record_asked_for_step_by_step_is_the_one_made_at_once() =>
        Gen.Select(Nights, Gen.Int[1, 900].Array[0, 12])
            .Sample(
                (night, minutes) =>
                {
                    var balance = Balance(night);
                    var record = FlagRecord.Of(balance, Patient, Limits, Start);
                    foreach (var minute in minutes.Order())
                        record = record.After(balance, [], Start + Duration.FromMinutes(minute)).Record;
                    AssertSame(Whole(night), record.After(balance, [], End).Record);
                },
                iter: Ward.Times(500)
            );

    [Fact]
    public void A_record_as_it_was_known_is_the_one_made_of_what_was_known() =>
        Gen.Select(Nights, Gen.Int[0, 16 * 60])
            .Sample(
                (night, minute) =>
                {
                    var balance = Balance(night);
                    var asOf = Start + Duration.FromMinutes(minute);
                    var known = FluidBalance.Of(balance.Log.KnownAt(asOf), BalanceSettings.Default);
                    var kept = FlagRecord.Of(balance, Patient, Limits, End).AsKnown(balance.Log, known, asOf, default);
                    AssertSame(FlagRecord.Of(known, Patient, Limits, asOf), kept);
                },
                iter: Ward.Times(500)
            );

    /// <summary>Kept or recalled, whatever comes then: late, corrected, withdrawn, or nothing but time.</summary>
    [Fact]
    public void A_record_that_was_remembered_goes_on_as_the_one_that_was_kept() =>
        Gen.Select(Nights, Nights, Gen.Int)
            .Sample(
                (night, later, seed) =>
                {
                    var chance = new Random(seed);
                    var asOf = Start + Duration.FromSeconds(chance.Next(0, 14 * 3600)) + Duration.FromMilliseconds(chance.Next(0, 1000));
                    var (balance, kept) = Story.Arriving(night, seed, Frame, asOf, Patient, Limits);
                    var recalled = FlagRecord.Recalled(balance, Patient, Limits, kept.Remembered);
                    AssertSame(kept, recalled);
                    AssertSeesTheSame(kept, recalled);
                    foreach (var batch in later.Chunk(chance.Next(1, 20)))
                    {
                        var appended = balance.Log.Append(batch, Start);
                        balance = balance.After(appended).Balance;
                        asOf = Instant.Min(End, recalled.AsOf + Duration.FromSeconds(chance.Next(0, 7200)));
                        recalled = recalled.After(balance, appended.Changes, asOf).Record;
                        if (chance.Next(3) == 0)
                            recalled = FlagRecord.Recalled(balance, Patient, Limits, recalled.Remembered);
                    }

                    var anew = FluidBalance.Of(balance.Log, BalanceSettings.Default);
                    AssertSame(FlagRecord.Of(anew, Patient, Limits, recalled.AsOf), recalled);
                    AssertSame(FlagRecord.Of(anew, Patient, Limits, End), recalled.After(balance, [], End).Record);
                },
                iter: Ward.Times(300)
            );

    /// <summary>Somebody asks within the second before a rule looks again: it does look then.</summary>
    [Fact]
    public void A_look_within_the_second_of_asking_is_not_missed()
    {
        var header = new EntryHeader(new("gen", "1"), Start + Duration.FromMilliseconds(400));
        var clamped = FluidBalance.Of(EpisodeLog.Empty(Frame).Append([new DrainClamped(header)], Start).Log, BalanceSettings.Default);
        var whole = FlagRecord.Of(clamped, Patient, Limits, End);
        var raised = whole.Standing.Concat(whole.Ended).Min(flag => flag.Start);
        var before = raised - Duration.FromMilliseconds(300);
        var asked = FlagRecord.Of(clamped, Patient, Limits, before);
        Assert.Equal(raised, asked.Next);
        AssertSame(whole, asked.After(clamped, [], End).Record);
    }

    [Fact]
    public void Of_one_rule_no_two_flags_stand_at_once_and_none_ends_before_it_began() =>
        Nights.Sample(
            night =>
            {
                foreach (var flags in All(Whole(night)).GroupBy(flag => flag.Slug))
                {
                    var inOrder = flags.OrderBy(flag => flag.Start).ToList();
                    Assert.All(inOrder, flag => Assert.True(!(flag.End <= flag.Start)));
                    foreach (var (one, next) in inOrder.Zip(inOrder.Skip(1)))
                        Assert.True(one.End <= next.Start);
                }
            },
            iter: Ward.Times(500)
        );

    [Fact]
    public void A_withdrawal_undoes_exactly() =>
        Gen.Select(Nights, Gen.Int[0, 36], Gen.Int[0, 160])
            .Sample(
                (night, kind, step) =>
                {
                    var balance = Balance(night);
                    var without = FlagRecord.Of(balance, Patient, Limits, End);
                    var extra = Draw(1000 + kind, step, 3, 7, 0);
                    var appended = balance.Log.Append([extra], Start);
                    balance = balance.After(appended).Balance;
                    var with = without.After(balance, appended.Changes, End).Record;
                    var withdrawn = balance.Log.Append(
                        [new EnteredInError(extra.Header with { RecordedAt = Start + Duration.FromDays(9) }, null)],
                        Start
                    );
                    AssertSame(without, with.After(balance.After(withdrawn).Balance, withdrawn.Changes, End).Record);
                },
                iter: Ward.Times(500)
            );

    /// <summary>By whole days, for the review of a catheter goes by the ward's clock.</summary>
    [Fact]
    public void Moving_all_by_days_moves_the_flags_and_nothing_else() =>
        Gen.Select(Nights, Gen.Int[-60, 60])
            .Sample(
                (night, days) =>
                {
                    var by = Duration.FromDays(days);
                    Entry Moved(Entry entry) =>
                        (entry is OrderSet order ? order with { Until = order.Until + by } : entry) with
                        {
                            Header = entry.Header with
                            {
                                At = entry.At + by,
                                From = entry.Header.From + by,
                                RecordedAt = entry.Header.RecordedAt + by,
                            },
                        };
                    var moved = night.Select(Moved).ToArray();
                    var balance = FluidBalance.Of(
                        EpisodeLog.Empty(Frame with { Start = Start + by }).Append(moved, Start + by).Log,
                        BalanceSettings.Default
                    );
                    var record = FlagRecord.Of(
                        balance,
                        Patient with
                        {
                            CatheterInserted = Patient.CatheterInserted + by,
                        },
                        Limits,
                        End + by
                    );
                    Assert.Equal(
                        All(Whole(night)).Select(f => (f.Slug, f.Start + by, f.End + by, f.Latest.Priority)),
                        All(record).Select(f => (f.Slug, f.Start, f.End, f.Latest.Priority))
                    );
                },
                iter: Ward.Times(300)
            );

    private static IEnumerable<FlagPeriod> All(FlagRecord record) => record.Ended.Concat(record.Standing);

    private static FluidBalance Balance(Entry[] night) =>
        FluidBalance.Of(EpisodeLog.Empty(Frame).Append(night, Start).Log, BalanceSettings.Default);

    private static FlagRecord Whole(Entry[] night) => FlagRecord.Of(Balance(night), Patient, Limits, End);

    private static void AssertSame(FlagRecord expected, FlagRecord actual)
    {
        Assert.Equal(expected.Ended, actual.Ended);
        Assert.Equal(expected.Standing, actual.Standing);
        Assert.Equal(expected.Findings.Select(f => (f.Rule.Slug, f.Latest)), actual.Findings.Select(f => (f.Rule.Slug, f.Latest)));
        Assert.Equal((expected.AsOf, expected.Next), (actual.AsOf, actual.Next));
        Assert.Empty(FlagRecord.Compare(expected, actual));
    }

    private static void AssertSeesTheSame(FlagRecord expected, FlagRecord actual)
    {
        var (one, other) = (expected.Now.Balance, actual.Now.Balance);
        Assert.Equal(one.Streams, other.Streams);
        foreach (var stream in one.Streams)
            Assert.Equal(one[stream].Select(Says), other[stream].Select(Says));
        Assert.Equal(one.Log.Channels.Order(StringComparer.Ordinal), other.Log.Channels.Order(StringComparer.Ordinal));
        foreach (var channel in one.Log.Channels)
            Assert.Equal(Entries(one.Log[channel]), Entries(other.Log[channel]));

        static (Instant, Instant, UrineOutput?, OutputStatus) Says(ClosedInterval i) => (i.Start, i.End, i.Output, i.Status);
        static IEnumerable<Entry> Entries(Timeline timeline) => Enumerable.Range(0, timeline.Count).Select(i => timeline[i]);
    }

    private static Entry Draw(int id, int step, int amount, int other, int variant)
    {
        var at = Start + Duration.FromMinutes(5 * step);

        // No two versions of one entry are charted at one time: which of them stands would be for their arrival to say.
        var charted = at + Duration.FromHours(2 * variant) + Duration.FromMilliseconds((1000 * step) + (31 * amount) + other);
        var header = new EntryHeader(new("gen", $"{id}"), at) { RecordedAt = charted };
        var volume = Volume.FromMillilitres(50 * amount);
        var line = id % 5 == 0 ? "2" : "1";
        var container = other % 6 == 0 ? "2" : "1";
        return (((id * 7) + variant) % 44) switch
        {
            0 or 1 => new BagHung(
                header,
                line,
                Volume.FromMillilitres(3000),
                null,
                null,
                other % 4 == 0 ? "sterile water" : null,
                Volume.Zero
            ),
            2 => new BagRead(header, line, volume),
            3 => new BagTakenDown(header, line, amount % 5 == 0 ? null : volume),
            4 or 5 or 6 => new FlowSet(header, line, FlowRate.FromMillilitresPerHour(amount % 4 == 0 ? 0 : 40 * amount), null, null),
            7 => new IrrigantInstilled(header with { How = MeasuringWay.Syringe }, line, volume),
            8 => new PumpTotalRead(header, line, Volume.FromMillilitres((20 * step) + amount), other == 0),
            9 or 10 => new DrainageEmptied(header, container, other % 3 == 0 ? Volume.Zero : volume),
            11 or 12 or 13 => new DrainageLevelRead(header, container, other % 3 == 0 ? Volume.Zero : volume),
            14 => new LeakEstimated(header, volume),
            15 => new UrineCollected(header, UrineRoute.UrethralCatheter, volume),
            16 => new DrainClamped(header),
            17 => new DrainReleased(header),
            18 => new BladderScanned(header, volume),
            19 or 20 => new DrainageAppearance(
                header,
                "five grades",
                1 + (amount % 5),
                other % 3 == 0 ? "bright red" : "straw",
                null,
                other % 2 == 0 ? "few" : null,
                null,
                null,
                null
            ),
            21 => new BladderPalpated(header, other % 3 == 0 ? null : other % 2 == 0, amount % 2 == 0),
            22 => new OrderSet(header)
            {
                Method = other % 2 == 0 ? "continuous" : "open",
                AtMost = FlowRate.FromMillilitresPerHour(40 * other),
                Dwell = Duration.FromMinutes(amount),
                Until = at + Duration.FromMinutes(17 * other),
                Additive = amount % 7 == 0 ? "neomycin" : null,
                Change = Changes(amount),
                OrderedHow = (OrderedHow)(other % 4),
            },
            23 => new WeightMeasured(header, new(30 + (5 * amount), WeightKind.Actual)),
            24 => new Escalated(header, "the doctor on call", null),
            25 => new WashoutPerformed(header, amount, other % 2 == 0),
            26 => new ToleranceNoted(header, amount % 11, false, null),
            27 => new IdentityChecked(header, "date-of-birth name"),
            28 => new BloodPressureMeasured(header, Pressure.FromMillimetresOfMercury(80 + (10 * amount)), null),
            29 => new ContainerTakenAway(header, container, null),
            30 => new BloodRemoved(header, volume, null),
            31 => new ReadingConfirmed(header, new("gen", $"{other}")),
            32 => new IrrigantDiscarded(header, line, volume),
            33 => new CatheterInserted(header, null, null, null),
            34 => new ClosedSystemOpened(header, null),
            35 => new IndicationReviewed(header, null, null),
            36 => new EnteredInError(header, null),
            37 or 38 => new IrrigantInstilled(header with { Run = other % 3 == 0 ? "a" : null, Cycle = 1 + (other % 3) }, line, volume),
            39 or 40 => new DrainageEmptied(header with { Run = other % 4 == 0 ? "a" : null }, "basin", volume),
            41 => new IrrigationStopped(header, (StopReason)(other % 8)),
            42 => new PatientAttended(header with { From = at - Duration.FromMinutes(1 + other) }),
            _ => new OrderSet(header)
            {
                Method = "intermittent-manual",
                Aliquot = volume,
                Cycles = 1 + (amount % 4),
                TimesPerDay = 1 + (other % 6),
                Days = other % 5 == 0 ? 1 : null,
                UntilClear = other % 2 == 0,
                Change = Changes(other),
            },
        };
    }

    private static OrderChange Changes(int drawn) =>
        (drawn % 5) switch
        {
            0 => OrderChange.Withdraws,
            1 => OrderChange.Replaces,
            _ => OrderChange.Changes,
        };
}
