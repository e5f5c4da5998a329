using Irrigation.Measures;
using MathNet.Numerics;

namespace Irrigation.Tests.Criteria;

/// <summary>The normal distribution against tables that share no code with it.</summary>
public class StandardNormalTests
{
    [Theory] // Abramowitz and Stegun, Handbook of Mathematical Functions, table 26.1: P(x)
    [InlineData(0, 0.5)]
    [InlineData(0.1, 0.539827837277029)]
    [InlineData(0.5, 0.691462461274013)]
    [InlineData(0.66, 0.745373085328664)]
    [InlineData(1, 0.841344746068543)]
    [InlineData(1.5, 0.933192798731142)]
    [InlineData(2, 0.977249868051821)]
    [InlineData(2.5, 0.993790334674224)]
    [InlineData(3, 0.998650101968370)]
    public void It_agrees_with_the_handbook_to_its_last_digit(double x, double probability)
    {
        Assert.Equal(probability, StandardNormal.Cumulative(x), 15);
        Assert.Equal(1 - probability, StandardNormal.Cumulative(-x), 15);
        Assert.Equal(1 - probability, StandardNormal.UpperTail(x), 15);
    }

    [Theory] // the same, table 26.2: −log10 Q(x)
    [InlineData(5, 6.54265)]
    [InlineData(10, 23.11805)]
    [InlineData(20, 88.56010)]
    public void The_far_tail_agrees_with_the_handbook(double x, double minusLog) =>
        Assert.Equal(minusLog, -Math.Log10(StandardNormal.UpperTail(x)), 5);

    [Theory] // worked to 40 digits with another program
    [InlineData(0.67, 0.251428895095310102)] // on both sides of the seams of the approximation, at z = 0.663 and 5.657
    [InlineData(5.6, 1.07175902583109293e-8)]
    [InlineData(5.7, 5.99037140106352819e-9)]
    [InlineData(15, 3.67096619931275089e-51)]
    [InlineData(30, 4.90671392714818706e-198)]
    [InlineData(37, 5.72557122252457682e-300)]
    public void To_the_end_of_what_a_double_holds_the_relative_error_is_next_to_none(double z, double tail) =>
        Assert.InRange(StandardNormal.UpperTail(z) / tail, 1 - 4e-15, 1 + 4e-15);

    [Fact]
    public void It_agrees_with_a_library_everywhere()
    {
        for (var z = -8.0; z <= 25; z += 0.01)
        {
            Assert.InRange(StandardNormal.UpperTail(z) / (SpecialFunctions.Erfc(z / Math.Sqrt(2)) / 2), 1 - 1e-12, 1 + 1e-12);
        }
    }

    [Fact]
    public void It_falls_without_a_step()
    {
        var before = 1.0;
        for (var z = -9.0; z < 40; z += 1.0 / 1024)
        {
            var tail = StandardNormal.UpperTail(z);
            Assert.True(tail <= before, $"rises at {z}");
            before = tail;
        }
    }

    [Fact]
    public void Beyond_a_double_it_is_nothing_and_scaled_it_is_still_something()
    {
        Assert.Equal((0, 1), (StandardNormal.UpperTail(100), StandardNormal.UpperTail(-100)));
        Assert.Equal((0, 1), (StandardNormal.UpperTail(double.PositiveInfinity), StandardNormal.UpperTail(double.NegativeInfinity)));
        Assert.Equal(2173.87154, (100 * 100 / 2 * Math.Log10(Math.E)) - Math.Log10(StandardNormal.ScaledUpperTail(100)), 5); // table 26.2
        Assert.Throws<ArgumentOutOfRangeException>(() => StandardNormal.ScaledUpperTail(-1));
    }
}
