using System.Globalization;
using OxyPlot;
using OxyPlot.Annotations;
using OxyPlot.Axes;
using OxyPlot.Legends;
using OxyPlot.Series;

namespace IrrigationFhir.Tests.Analytics;

/// <summary>
/// A plot with a named row for each thing and a number along the bottom, drawn by OxyPlot (https://oxyplot.github.io) as SVG: without
/// fonts or native code, so that it has the same bytes everywhere.
/// </summary>
internal sealed class RowPlot
{
    private const double Half = 0.32;
    private const int Width = 860;
    private static readonly OxyColor Ink = OxyColor.FromRgb(0x22, 0x2B, 0x36);
    private static readonly OxyColor Grid = OxyColor.FromRgb(0xE3, 0xE7, 0xEB);
    private static readonly OxyColor Grey = OxyColor.FromRgb(0x6B, 0x76, 0x82);

    // Told apart by people of every colour vision, and by their shapes (Okabe and Ito, https://jfly.uni-koeln.de/color).
    public static readonly OxyColor Blue = OxyColor.FromRgb(0x00, 0x72, 0xB2);
    public static readonly OxyColor Orange = OxyColor.FromRgb(0xD5, 0x5E, 0x00);
    public static readonly OxyColor Pale = OxyColor.FromRgb(0xA9, 0xC9, 0xE0);

    private readonly PlotModel _model;
    private readonly LinearAxis _numbers;
    private readonly int _rows;

    /// <summary>An empty plot.</summary>
    /// <param name="title">What is asked.</param>
    /// <param name="subtitle">What has to be known to read it.</param>
    /// <param name="number">What the number is, with its unit.</param>
    /// <param name="low">Where its axis begins.</param>
    /// <param name="high">Where it ends.</param>
    /// <param name="rows">Names of the rows, the uppermost first.</param>
    /// <param name="step">From one mark to the next; null for as many as fit.</param>
    public RowPlot(string title, string subtitle, string number, double low, double high, IReadOnlyList<string> rows, double? step = null)
    {
        _rows = rows.Count;
        _model = new()
        {
            Title = title,
            Subtitle = subtitle,
            TitleFontSize = 15,
            SubtitleFontSize = 12,
            SubtitleColor = Grey,
            TitleHorizontalAlignment = TitleHorizontalAlignment.CenteredWithinView,
            Background = OxyColors.White,
            DefaultFont = "Arial, Helvetica, sans-serif",
            TextColor = Ink,
            PlotAreaBorderThickness = new(1, 0, 0, 1),
            PlotAreaBorderColor = Grey,
            Padding = new(8, 10, 24, 8),
        };
        var names = new CategoryAxis
        {
            Position = AxisPosition.Left,
            StartPosition = 1,
            EndPosition = 0,
            TickStyle = TickStyle.None,
            GapWidth = 0.2,
        };
        names.Labels.AddRange(rows);
        _numbers = new()
        {
            Position = AxisPosition.Bottom,
            Title = number,
            Minimum = low,
            Maximum = high,
            MajorGridlineStyle = LineStyle.Solid,
            MajorGridlineColor = Grid,
            TickStyle = TickStyle.Outside,
            MinorTickSize = 0,
            StringFormat = "#,0.##",
            AxisTitleDistance = 8,
        };
        if (step is { } given)
            _numbers.MajorStep = given;
        _model.Axes.Add(names);
        _model.Axes.Add(_numbers);
        _model.Culture = CultureInfo.InvariantCulture;
    }

    /// <summary>Bars from 0, of rows that have a number.</summary>
    public RowPlot Bars(IEnumerable<double?> values, OxyColor colour, string? legend = null, double part = 1)
    {
        var series = new RectangleBarSeries
        {
            FillColor = colour,
            StrokeThickness = 0,
            Title = legend,
        };
        foreach (var (row, value) in Present(values))
            series.Items.Add(new(0, row - (Half * part), value, row + (Half * part)));
        return Add(series, legend);
    }

    /// <summary>A mark a row, where it has a number.</summary>
    public RowPlot Points(IEnumerable<double?> values, MarkerType shape, OxyColor colour, string? legend = null) =>
        Points(Present(values), shape, colour, legend);

    /// <summary>Marks at rows, any number of them.</summary>
    public RowPlot Points(IEnumerable<(int Row, double Value)> values, MarkerType shape, OxyColor colour, string? legend = null)
    {
        var series = new ScatterSeries
        {
            MarkerType = shape,
            MarkerSize = 5,
            MarkerFill = colour,
            MarkerStroke = colour,
            MarkerStrokeThickness = 1.5,
            Title = legend,
        };
        series.Points.AddRange(values.Select(value => new ScatterPoint(value.Value, value.Row)));
        return Add(series, legend);
    }

    /// <summary>A line a row, from one end to the other.</summary>
    public RowPlot Ranges(IEnumerable<(double? Low, double? High)> values, OxyColor colour, string? legend = null)
    {
        foreach (var (row, range) in values.Index())
        {
            if (range is not ({ } low, { } high))
                continue;
            var series = new LineSeries
            {
                Color = colour,
                StrokeThickness = 3,
                Title = legend,
                Points = { new(low, row), new(high, row) },
            };
            Add(series, legend);
            legend = null; // once is enough
        }

        return this;
    }

    /// <summary>A line across, with what it stands for.</summary>
    public RowPlot Line(double at, string? says = null)
    {
        _model.Annotations.Add(
            new LineAnnotation
            {
                Type = LineAnnotationType.Vertical,
                X = at,
                Color = Ink,
                LineStyle = says is null ? LineStyle.Solid : LineStyle.Dash,
                StrokeThickness = 1,
            }
        );
        if (says is not null)
            Say(at, -0.75, says, HorizontalAlignment.Left, Ink);
        return this;
    }

    /// <summary>Words at rows: behind a number, or in place of one that is not known.</summary>
    public RowPlot Words(IEnumerable<(double At, string? Says)> words, bool unknown = false)
    {
        foreach (var (row, (at, says)) in words.Index())
        {
            if (says is not null)
                Say(at, row, says, HorizontalAlignment.Left, unknown ? Orange : Ink);
        }

        return this;
    }

    /// <summary>As SVG.</summary>
    public string Svg()
    {
        var height = 160 + (30 * _rows);
        var exporter = new SvgExporter
        {
            Width = Width,
            Height = height,
            TextMeasurer = new WideText(Width, height),
        };
        return exporter.ExportToString(_model).ReplaceLineEndings("\n").TrimEnd() + "\n";
    }

    /// <summary>The number is a time: hours after noon, shown as by the clock.</summary>
    public RowPlot ByTheClock()
    {
        _numbers.LabelFormatter = hours => $"{(12 + (int)hours) % 24:00}:00";
        return this;
    }

    /// <summary>Room above the rows, for what a line says.</summary>
    public RowPlot WithRoomAbove()
    {
        _model.Axes[0].Minimum = -1.1;
        return this;
    }

    private void Say(double at, double row, string says, HorizontalAlignment from, OxyColor colour) =>
        _model.Annotations.Add(
            new TextAnnotation
            {
                Text = says,
                TextPosition = new(at, row),
                TextHorizontalAlignment = from,
                TextVerticalAlignment = VerticalAlignment.Middle,
                TextColor = colour,
                FontSize = 12,
                StrokeThickness = 0,
                Offset = from == HorizontalAlignment.Left ? new(8, 0) : new(0, 0),
            }
        );

    private RowPlot Add(Series series, string? legend)
    {
        if (legend is not null && _model.Legends.Count == 0)
            _model.Legends.Add(
                new Legend
                {
                    LegendPlacement = LegendPlacement.Outside,
                    LegendPosition = LegendPosition.BottomCenter,
                    LegendOrientation = LegendOrientation.Horizontal,
                    LegendFontSize = 12,
                }
            );
        _model.Series.Add(series);
        return this;
    }

    private static IEnumerable<(int Row, double Value)> Present(IEnumerable<double?> values) =>
        values.Index().Where(row => row.Item is not null).Select(row => (row.Index, row.Item!.Value));

    /// <summary>
    /// Who looks at it has another font than was measured with: room for the widest that is usual (DejaVu Sans). The ratios were found by
    /// looking.
    /// </summary>
    private sealed class WideText(double width, double height) : PdfRenderContext(width, height, OxyColors.White)
    {
        public override OxySize MeasureText(string text, string fontFamily, double fontSize, double fontWeight)
        {
            var narrow = base.MeasureText(text, "Arial", fontSize, fontWeight);
            return new(narrow.Width * 1.7, narrow.Height * 1.4);
        }
    }
}
