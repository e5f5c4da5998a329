using System.Text.Json.Nodes;
using System.Text.RegularExpressions;
using IrrigationFhir.Tests.Repository;

namespace IrrigationFhir.Tests.Examples;

/// <summary>
/// The folder <c>fhir-examples/requests</c>: every request is run as it stands, by the shell and curl, and answered as the file
/// beside it says. Each folder is a conversation with a service of its own, in the order of its numbers.
/// </summary>
/// <remarks>
/// What a run cannot repeat is put in words: the address, the id of the episode, which is the folder's name, and the place of a
/// next page. Times of storage are those of a clock that stands still.
/// </remarks>
public partial class RequestsTests
{
    private const string Folder = "fhir-examples/requests";
    private const string Answer = ".response.http";
    private const string Served = "http://localhost:5000";

    /// <summary>The headers that FHIR speaks of; the others are the server's own.</summary>
    private static readonly string[] Told = ["Content-Type", "Location", "Content-Location", "ETag", "Allow", "Retry-After"];

    public static TheoryData<string> Conversations => [.. Requests().Select(file => file.Split('/')[2]).Distinct()];

    [SkippableTheory, MemberData(nameof(Conversations))]
    public async Task Every_request_is_answered_as_the_file_beside_it_says(string conversation)
    {
        Skip.IfNot(Shell.IsThere, Shell.Absent);
        await using var ward = RunningService.Start("2026-03-15T06:05:00Z");
        var at = ward.Http.BaseAddress!.ToString().TrimEnd('/');
        string? episode = null;
        foreach (var file in Requests().Where(file => file.Split('/')[2] == conversation))
        {
            var (request, said) = (
                Repo.Read(file),
                await Shell.Run($"sh {Path.GetFileName(file)}", $"{Folder}/{conversation}", ("BASE", at))
            );
            var (head, body) = Parts(said);
            if (file.EndsWith("open-the-episode.sh", StringComparison.Ordinal))
                episode = (string)JsonNode.Parse(body)!["id"]!;
            var told = $"{head}\n\n{(body.Length == 0 ? "" : Repo.Text(JsonNode.Parse(body)!))}".Replace(
                at,
                Served,
                StringComparison.Ordinal
            );
            told = NextPage().Replace(told, "_page=the-place-that-next-gives");
            if (episode is not null)
                told = told.Replace(episode, conversation, StringComparison.Ordinal);

            var comment = Comment().Match(request);
            Assert.True(comment.Success, $"{file} does not say what is answered: '# 201: …' in its second line");
            Assert.True(head.StartsWith($"HTTP/1.1 {comment.Groups["status"].Value} ", StringComparison.Ordinal), $"{file}: {told}");
            Assert.All(
                Quoted().Matches(comment.Value).Select(m => m.Groups[1].Value),
                quoted => Assert.True(told.Contains(quoted, StringComparison.Ordinal), $"{file} promises {quoted}; the answer is {told}")
            );
            Repo.Agrees(file.Replace(".sh", Answer, StringComparison.Ordinal), told);
        }
    }

    [Fact]
    public void Every_file_is_a_request_or_the_body_or_the_answer_of_one()
    {
        var requests = Requests().ToList();
        var bodies = requests.SelectMany(file =>
            BodyFile().Matches(Repo.Read(file)).Select(m => $"{Path.GetDirectoryName(file)!.Replace('\\', '/')}/{m.Value}")
        );
        var answers = requests.Select(file => file.Replace(".sh", Answer, StringComparison.Ordinal));
        Assert.Equal(requests.Concat(bodies).Concat(answers).Distinct().Order(StringComparer.Ordinal), Repo.Files(Folder));
    }

    [Fact]
    public void The_text_beside_them_names_every_folder_and_no_other()
    {
        var folders = Repo.Files("fhir-examples")
            .Select(file => file.Split('/')[1..^1])
            .Where(parts => parts.Length > 0)
            .Select(parts => string.Join('/', parts))
            .Distinct();
        var named = NamedFolder()
            .Matches(Repo.Read("fhir-examples/README.md"))
            .SelectMany(m => Quoted().Matches(m.Value))
            .Select(m => m.Groups[1].Value);
        Assert.Equal(folders.Order(StringComparer.Ordinal), named.Order(StringComparer.Ordinal));

        var shown = Command().Matches(Repo.Read("fhir-examples/README.md")).Select(m => m.Groups[1].Value);
        Assert.Equal(Repo.Files($"{Folder}/one-observation", "*.sh").Take(2).Select(Path.GetFileName), shown);
    }

    private static IEnumerable<string> Requests() => Repo.Files(Folder, "*.sh");

    /// <summary>Status line and told headers, and the body, of what <c>curl -i</c> prints.</summary>
    private static (string Head, string Body) Parts(string printed)
    {
        var text = printed.Replace("\r\n", "\n", StringComparison.Ordinal);
        while (text.StartsWith("HTTP/1.1 100 ", StringComparison.Ordinal))
            text = text.Split("\n\n", 2)[1];
        var parts = text.Split("\n\n", 2);
        var lines = parts[0].Split('\n');
        var headers = Told.SelectMany(name => lines.Where(line => line.StartsWith(name + ": ", StringComparison.OrdinalIgnoreCase)));
        return (string.Join('\n', headers.Prepend(lines[0])), parts[1]);
    }

    [GeneratedRegex(@"\A#!/bin/sh\n(?:# (?<status>\d{3}): .*\n)(?:# .*\n)*")]
    private static partial Regex Comment();

    [GeneratedRegex(@"_page=[\w%-]+")]
    private static partial Regex NextPage();

    [GeneratedRegex("`([^`]+)`")]
    private static partial Regex Quoted();

    [GeneratedRegex(@"\b\d\d-[\w-]+\.json\b")]
    private static partial Regex BodyFile();

    [GeneratedRegex("^sh (.*)$", RegexOptions.Multiline)]
    private static partial Regex Command();

    [GeneratedRegex(@"^\| `.*?` \|", RegexOptions.Multiline)]
    private static partial Regex NamedFolder();
}
