using IrrigationFhir.Rest;
using Microsoft.AspNetCore.Http;

namespace IrrigationFhir.Tests.Rest;

/// <summary>What is understood of the headers that a sender may write in several ways.</summary>
public class HeaderTests
{
    [Theory]
    [InlineData("W/\"3\"", true)]
    [InlineData("\"3\"", true)]
    [InlineData("W/\"2\", W/\"3\"", true)]
    [InlineData("*", true)]
    [InlineData("3", true)]
    [InlineData("W/\"2\"", false)]
    [InlineData("\"*\"", false)]
    [InlineData("W/\"33\"", false)]
    [InlineData("W/\"99999999999999999999\"", false)]
    [InlineData("", false)]
    public void If_Match_lets_a_version_be_replaced(string header, bool lets) => Assert.Equal(lets, EntityTags.LetReplace(header, 3));

    [Fact]
    public void The_tag_of_a_version_is_weak() => Assert.Equal("W/\"3\"", EntityTags.Of(3));

    [Theory]
    [InlineData("application/json", "application/json")]
    [InlineData("Application/FHIR+JSON ; charset=\"utf-8\"", "application/fhir+json")]
    [InlineData("application/json;", "application/json")]
    [InlineData("JSON", "JSON")]
    [InlineData("", "")]
    [InlineData(null, null)]
    public void Content_Type_is_compared_without_case_and_parameters(string? header, string? media)
    {
        var http = new DefaultHttpContext();
        http.Request.ContentType = header;
        Assert.Equal(media, BodyMediaType.Of(http.Request));
    }

    [Theory]
    [InlineData("return=minimal", "minimal", false)]
    [InlineData("return=\"minimal\"; handling=strict", "minimal", true)]
    [InlineData("respond-async, handling=Strict , return=representation", "representation", true)]
    [InlineData(";;,=\"", "", false)]
    [InlineData(null, "", false)]
    public void Prefer_may_stand_in_one_list_or_another(string? header, string wanted, bool strict)
    {
        var http = new DefaultHttpContext();
        http.Request.Headers["Prefer"] = header;
        Assert.Equal((wanted, strict), (Preferences.Return(http.Request), Preferences.Strict(http.Request)));
    }
}
