using System.Security.Cryptography;
using System.Text;
using IrrigationFhir.Store;

namespace IrrigationFhir.Tests.Store;

/// <summary>How JSON lies in the store.</summary>
public class StoredJsonTests
{
    /// <summary>A dictionary that is shipped never changes and never goes: add the line of a new one, and touch no other.</summary>
    [Theory]
    [InlineData("1.txt", "420683e453fb17587be1ed26020578130543683797ff48b3041d1a33ca4b32ea")]
    public void A_shipped_dictionary_stays_as_it_was_shipped(string name, string sha256)
    {
        using var stream = typeof(StoredJson).Assembly.GetManifestResourceStream($"Store/Dictionaries/{name}")!;
        Assert.Equal(sha256, Convert.ToHexStringLower(SHA256.HashData(stream)));
    }

    [Fact]
    public void No_dictionary_is_shipped_without_its_fingerprint() =>
        Assert.Single(
            typeof(StoredJson).Assembly.GetManifestResourceNames(),
            name => name.StartsWith("Store/Dictionaries/", StringComparison.Ordinal)
        );

    [Theory]
    [InlineData("{}")]
    [InlineData("""{"resourceType":"Observation","note":[{"text":"Spülung läuft, 3 × gewechselt"}]}""")]
    public void What_was_packed_comes_back_as_it_was(string json) => Assert.Equal(json, StoredJson.Unpack(StoredJson.Pack(json)));

    [Fact]
    public void A_resource_takes_a_fraction_of_its_text()
    {
        var json = Encoding.UTF8.GetString(
            FhirJson.WriteUtf8(StoreOnDisk.Drainage("night.bladder-drainage.1", "2026-03-02T08:50:00Z", null, 420))
        );
        Assert.True(StoredJson.Pack(json).Length < json.Length / 2, $"{json.Length} became {StoredJson.Pack(json).Length}");
    }

    [Fact]
    public void Text_that_was_not_packed_is_read_as_it_is() => Assert.Equal("{}", StoredJson.Unpack([0, .. "{}"u8]));

    [Fact]
    public void What_needs_a_later_dictionary_is_refused_by_its_number()
    {
        var refused = Assert.Throws<InvalidDataException>(() => StoredJson.Unpack([255, 1, 2, 3]));
        Assert.Contains("dictionary 255", refused.Message, StringComparison.Ordinal);
    }
}
