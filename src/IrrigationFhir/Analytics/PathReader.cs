using System.Text;

namespace IrrigationFhir.Analytics;

/// <summary>
/// Reads an expression of a view. What SQL on FHIR lists for views is understood, and nothing else
/// (https://sql-on-fhir.org/ig/StructureDefinition-ViewDefinition.html): no regular expression and no recursion, so that the cost of a view
/// grows with the resource and not faster.
/// </summary>
internal sealed class PathReader
{
    /// <summary>Most characters of an expression.</summary>
    public const int MostCharacters = 2000;

    /// <summary>Most parentheses, brackets and arguments within one another.</summary>
    public const int DeepestNesting = 16;

    private readonly string _text;
    private readonly List<Token> _tokens;
    private int _next;
    private int _depth;

    private PathReader(string text) => (_text, _tokens) = (text, Tokens(text));

    private enum TokenKind
    {
        Name,
        Text,
        Number,
        Sign,
        Variable,
        End,
    }

    /// <summary>The expression that a text says.</summary>
    /// <exception cref="ViewFault">It says none that is understood.</exception>
    public static PathExpression Read(string text)
    {
        if (text.Length > MostCharacters)
            throw new ViewFault($"an expression of {text.Length} characters", $"{MostCharacters} at most");
        var reader = new PathReader(text);
        var read = reader.Or();
        return reader.Peek.Kind == TokenKind.End ? read : throw reader.Unexpected("an operator or the end");
    }

    private Token Peek => _tokens[_next];

    private PathExpression Or()
    {
        if (++_depth > DeepestNesting)
            throw new ViewFault($"more than {DeepestNesting} parts within one another", "a flatter expression");
        var read = LeftToRight(
            ["or"],
            () =>
                LeftToRight(
                    ["and"],
                    () =>
                        LeftToRight(
                            ["=", "!="],
                            () => LeftToRight(["<", "<=", ">", ">="], () => LeftToRight(["+", "-"], () => LeftToRight(["*", "/"], Term)))
                        )
                )
        );
        _depth--;
        return read;
    }

    private PathExpression LeftToRight(string[] operators, Func<PathExpression> operand)
    {
        var left = operand();
        while (Peek is { Kind: TokenKind.Sign or TokenKind.Name } token && operators.Contains(token.Text))
        {
            _next++;
            left = new PathExpression.Binary(token.At, token.Text, left, operand());
        }

        return left;
    }

    private PathExpression Term()
    {
        if (Peek is { Kind: TokenKind.Sign, Text: "-" } && _tokens[_next + 1] is { Kind: TokenKind.Number } number)
        {
            _next += 2;
            return new PathExpression.Literal(number.At, ValueKind.Number, "-" + number.Text);
        }

        var term = First();
        while (true)
        {
            if (Take("."))
                term = Step(term);
            else if (Take("["))
                term = new PathExpression.Item(Peek.At, term, Closed(Or(), "]"));
            else
                return term;
        }
    }

    private PathExpression First()
    {
        var token = Peek;
        switch (token.Kind)
        {
            case TokenKind.Text:
                _next++;
                return new PathExpression.Literal(token.At, ValueKind.Text, token.Text);
            case TokenKind.Number:
                _next++;
                return new PathExpression.Literal(token.At, ValueKind.Number, token.Text);
            case TokenKind.Variable:
                _next++;
                return new PathExpression.Variable(token.At, token.Text);
            case TokenKind.Name when token.Text is "true" or "false" && _tokens[_next + 1].Text != "(":
                _next++;
                return new PathExpression.Literal(token.At, ValueKind.Boolean, token.Text);
            case TokenKind.Name:
                return Step(null);
            case TokenKind.Sign when token.Text == "(":
                _next++;
                return Closed(Or(), ")");
            case TokenKind.Sign when token.Text == "$this":
                _next++;
                return new PathExpression.This(token.At);
            default:
                throw Unexpected("an element, a function or a value");
        }
    }

    /// <summary>An element or a function, of what stands before the dot or of what is looked at.</summary>
    private PathExpression Step(PathExpression? source)
    {
        var name = Peek;
        if (name.Kind != TokenKind.Name)
            throw Unexpected("the name of an element or a function");
        _next++;
        if (!Take("("))
            return new PathExpression.Member(name.At, source, name.Text);
        var arguments = new List<PathExpression>();
        if (!Take(")"))
        {
            do arguments.Add(Or());
            while (Take(","));
            Closed(arguments[^1], ")");
        }

        return new PathExpression.Call(name.At, source, name.Text, arguments);
    }

    private PathExpression Closed(PathExpression inner, string sign) => Take(sign) ? inner : throw Unexpected($"'{sign}'");

    private bool Take(string sign)
    {
        if (Peek.Kind != TokenKind.Sign || Peek.Text != sign)
            return false;
        _next++;
        return true;
    }

    private ViewFault Unexpected(string expected) =>
        new($"'{_text}', at {Peek.At + 1}: {(Peek.Kind == TokenKind.End ? "the end" : $"'{Peek.Text}'")}", $"{expected} is expected there");

    private static List<Token> Tokens(string text)
    {
        var tokens = new List<Token>();
        for (var at = 0; at < text.Length; )
        {
            var c = text[at];
            var begin = at;
            if (char.IsWhiteSpace(c))
            {
                at++;
            }
            else if (IsNameStart(c))
            {
                tokens.Add(new(TokenKind.Name, Name(text, ref at), begin));
            }
            else if (c == '`')
            {
                tokens.Add(new(TokenKind.Name, Quoted(text, ref at), begin));
            }
            else if (c == '\'')
            {
                tokens.Add(new(TokenKind.Text, Quoted(text, ref at), begin));
            }
            else if (c == '%')
            {
                at++;
                var name = at < text.Length && IsNameStart(text[at]) ? Name(text, ref at) : "";
                tokens.Add(name.Length > 0 ? new(TokenKind.Variable, name, begin) : throw Strange(text, begin));
            }
            else if (char.IsAsciiDigit(c))
            {
                while (at < text.Length && char.IsAsciiDigit(text[at]))
                    at++;
                if (at + 1 < text.Length && text[at] == '.' && char.IsAsciiDigit(text[at + 1]))
                {
                    at++;
                    while (at < text.Length && char.IsAsciiDigit(text[at]))
                        at++;
                }

                tokens.Add(new(TokenKind.Number, text[begin..at], begin));
            }
            else
            {
                string[] signs = ["$this", "!=", "<=", ">=", ".", ",", "(", ")", "[", "]", "=", "<", ">", "+", "-", "*", "/"];
                var sign = signs.FirstOrDefault(sign => string.CompareOrdinal(text, begin, sign, 0, sign.Length) == 0);
                tokens.Add(new(TokenKind.Sign, sign ?? throw Strange(text, begin), begin));
                at += sign.Length;
            }
        }

        tokens.Add(new(TokenKind.End, "", text.Length));
        return tokens;
    }

    private static bool IsNameStart(char c) => char.IsAsciiLetter(c) || c == '_';

    private static string Name(string text, ref int at)
    {
        var begin = at;
        while (at < text.Length && (char.IsAsciiLetterOrDigit(text[at]) || text[at] == '_'))
            at++;
        return text[begin..at];
    }

    private static string Quoted(string text, ref int at)
    {
        var (begin, quote, content) = (at, text[at++], new StringBuilder());
        for (; at < text.Length; at++)
        {
            if (text[at] == quote)
            {
                at++;
                return content.ToString();
            }

            if (text[at] != '\\')
            {
                content.Append(text[at]);
                continue;
            }

            if (++at == text.Length)
                break;
            content.Append(
                text[at] switch
                {
                    'n' => '\n',
                    'r' => '\r',
                    't' => '\t',
                    'f' => '\f',
                    '\\' or '\'' or '"' or '`' or '/' => text[at],
                    'u'
                        when at + 4 < text.Length
                            && ushort.TryParse(text.AsSpan(at + 1, 4), System.Globalization.NumberStyles.HexNumber, null, out var code) =>
                        (char)code,
                    _ => throw Strange(text, at),
                }
            );
            if (text[at] == 'u')
                at += 4;
        }

        throw new ViewFault($"'{text}', at {begin + 1}: a text that does not end", $"a closing {quote} is expected");
    }

    private static ViewFault Strange(string text, int at) =>
        new($"'{text}', at {at + 1}: '{text[at]}'", "elements, functions, 'text', numbers, %constants and operators are understood");

    private readonly record struct Token(TokenKind Kind, string Text, int At);
}
