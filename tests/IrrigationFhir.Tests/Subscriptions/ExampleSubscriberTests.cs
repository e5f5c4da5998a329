using IrrigationFhir.Demo;
using IrrigationFhir.Tests.Repository;
using static IrrigationFhir.Tests.Subscriptions.SubscribedWard;

namespace IrrigationFhir.Tests.Subscriptions;

/// <summary>The example subscriber, as a process of its own: it goes by the numbers, and asks for what it missed.</summary>
public class ExampleSubscriberTests
{
    [Fact]
    public async Task What_it_missed_while_it_was_away_it_asks_for_and_nothing_comes_twice()
    {
        await using var ward = Ward();
        // It remembers beside itself, and not what another copy was told.
        var folder = Directory.CreateTempSubdirectory("subscriber-").FullName;
        var source = Path.Combine(folder, "subscriber.cs");
        File.Copy(Repo.PathOf("fhir-examples/subscriber/subscriber.cs"), source);
        var fhir = $"{ward.Http.BaseAddress!.ToString().TrimEnd('/')}/fhir";
        IReadOnlyList<string> first;
        using (var subscriber = await ExampleSubscriber.Start(fhir, memory: null, source))
        {
            await ward.Record(await ward.Bed("one"), Clots("a"));
            await ward.Until(() => subscriber!.Said.Count == 2);
            first = subscriber!.Said;
        }

        await ward.Record(await ward.Bed("two"), Clots("a")); // nobody listens
        using (var subscriber = await ExampleSubscriber.Start(fhir, memory: null, source))
        {
            await ward.Record(await ward.Bed("three"), Clots("a"));
            await ward.Until(
                () => subscriber!.Said.Count(line => line.Contains(": ", StringComparison.Ordinal)) == 2,
                TimeSpan.FromSeconds(1)
            );
            Assert.Equal(["subscribed", "1:"], first.Select(line => line.Split(' ')[0]));
            Assert.Contains("clots", first[1], StringComparison.OrdinalIgnoreCase);
            Assert.StartsWith("asked again for 2 to", subscriber!.Said[0], StringComparison.Ordinal);
            // It has a new address, and so a new handshake.
            Assert.Equal(["2:", "3:"], subscriber.Said.Skip(1).Where(line => line != "subscribed").Select(line => line.Split(' ')[0]));
        }

        // It was killed: what it was just writing then may lie beside what it had written.
        Assert.Equal(
            ["memory.json", "subscriber.cs"],
            Directory.GetFiles(folder).Select(Path.GetFileName).Where(name => name != "memory.json.new").Order(StringComparer.Ordinal)
        );
        Directory.Delete(folder, recursive: true);
    }
}
