using System.Text.Json.Nodes;
using static IrrigationFhir.Tests.Entries.Charted;

namespace IrrigationFhir.Tests.Entries;

/// <summary>A confirmation says of a reading that it is right: it has to find it.</summary>
[Collection(EveningOnTheWard.Name)]
public sealed class ConfirmationTests(EveningOnTheWard evening)
{
    [Fact]
    public async Task A_confirmation_may_come_before_its_reading_in_the_same_request()
    {
        var episode = await evening.Open();
        var reply = await evening.Service.Record(episode, Confirmed("c", "12:05", "d"), Emptied("d", "12:00", 4200));
        Assert.Equal(["recorded", "recorded"], reply.Outcomes);
    }

    [Fact]
    public async Task A_confirmation_of_an_earlier_request_is_found_by_the_source_and_the_id_that_were_sent()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Emptied("d", "12:00", 4200).With("source", "scale"));

        var mine = await evening.Service.Post($"/episodes/{episode}/entries", new JsonArray(Confirmed("c", "12:05", "d")));
        mine.Refuses(422, "unknown-reading", "entries[0].reading", "id 'd' of source 'ward-charting'", "source and id of the reading");
        Assert.Equal(["recorded"], (await evening.Service.Record(episode, Confirmed("c", "12:05", "d", "scale"))).Outcomes);
    }

    [Fact]
    public async Task What_was_withdrawn_cannot_be_confirmed()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Emptied("d", "12:00", 4200));
        await evening.Service.Record(episode, Withdrawn("d"));
        (await evening.Service.Post($"/episodes/{episode}/entries", new JsonArray(Confirmed("c", "12:05", "d")))).Refuses(
            422,
            "unknown-reading",
            "entries[0].reading",
            "id 'd'",
            "source and id of the reading"
        );
    }

    [Fact]
    public async Task A_confirmation_is_no_reading_and_is_not_confirmed_itself()
    {
        var episode = await evening.Open();
        await evening.Service.Record(episode, Emptied("d", "12:00", 4200), Confirmed("c", "12:05", "d"));
        (await evening.Service.Post($"/episodes/{episode}/entries", new JsonArray(Confirmed("c2", "12:06", "c")))).Refuses(
            422,
            "unknown-reading",
            "entries[0].reading",
            "id 'c'",
            "source and id of the reading"
        );
    }

    [Fact]
    public async Task With_lenient_handling_a_confirmation_falls_with_its_reading()
    {
        var episode = await evening.Open();
        var reply = await evening.Service.Post(
            $"/episodes/{episode}/entries",
            new JsonArray(
                Confirmed("c", "12:05", "early"),
                Emptied("early", "07:00", 300),
                Confirmed("c2", "12:06", "d"),
                Emptied("d", "12:00", 300)
            ),
            "handling=lenient"
        );
        Assert.Equal(["refused", "refused", "recorded", "recorded"], reply.Outcomes);
        Assert.Equal("unknown-reading", (string)reply.Json["entries"]![0]!["problems"]![0]!["code"]!);
        Assert.Equal("before-episode-start", (string)reply.Json["entries"]![1]!["problems"]![0]!["code"]!);
    }

    [Fact]
    public async Task Blood_that_was_weighed_is_the_same_in_grams_and_in_kilograms_and_not_in_millilitres()
    {
        var episode = await evening.Open();
        var weighed = Of("blood-removed", "b", "12:00", ("mass", new JsonObject { ["value"] = 53, ["unit"] = "g" }));
        await evening.Service.Record(episode, weighed);
        var inKilograms = weighed.With("mass", new JsonObject { ["value"] = 0.053m, ["unit"] = "kg" });
        Assert.Equal(["repeated"], (await evening.Service.Record(episode, inKilograms)).Outcomes);

        // 53 g at 1.06 g/mL are 50 mL, but nobody read 50 mL off a scale.
        var read = weighed.Without("mass").With("volume", Millilitres(50));
        Assert.Equal(["amended"], (await evening.Service.Record(episode, read)).Outcomes);
    }

    [Fact]
    public async Task A_reading_that_names_its_bag_is_another_than_one_that_names_none()
    {
        var episode = await evening.Open();
        var read = Of("bag-read", "r", "10:00", ("remaining", Millilitres(400)));
        await evening.Service.Record(episode, BagHung("bag", "08:05", 3000).With("bag", "A"), read);
        Assert.Equal(["amended"], (await evening.Service.Record(episode, read.With("bag", "A"))).Outcomes);
    }

    private static JsonObject Confirmed(string id, string clock, string reading, string source = Source) =>
        Of("reading-confirmed", id, clock, ("reading", new JsonObject { ["source"] = source, ["id"] = reading }));
}
