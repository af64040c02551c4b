package smooth

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/interp"
	"pgregory.net/rapid"
)

// scipy 1.10.1, CubicSpline(bc_type="natural"), even points.
func TestNaturalSplineAgreesWithScipy(t *testing.T) {
	l, err := NewLine([]float64{0, 10, 20, 30, 40, 50, 60}, []float64{0, .05, .15, .21, .15, .05, 0}, Natural)
	require.NoError(t, err)
	for x, want := range map[float64]float64{
		5: .0196634615, 15: .0972596154, 25: .1925480769, 30: .21, 37.5: .1734915865, 45: .0972596154, 55: .0196634615,
	} {
		assert.InDelta(t, want, l.At(x), 1e-10, "at %g", x)
	}
	for i, want := range []float64{.0035769231, .0078461538, .0100384615, 0, -.0100384615, -.0078461538, -.0035769231} {
		assert.InDelta(t, want, l.Slope(float64(10*i)), 1e-10)
	}
	// Second derivatives at the points: within a piece they run straight, so two
	// differences of the slope and their trend give the value at its start.
	for i, want := range []float64{0, .0008538462, -.0004153846, -.0015923077, -.0004153846, .0008538462} {
		x, h := float64(10*i), 1e-3
		d1 := (l.Slope(x+h) - l.Slope(x)) / h
		d2 := (l.Slope(x+2*h) - l.Slope(x+h)) / h
		assert.InDelta(t, want, d1-(d2-d1)/2, 1e-9)
	}
}

// scipy 1.10.1, uneven points.
func TestNaturalSplineOnUnevenPoints(t *testing.T) {
	l, err := NewLine([]float64{0, 7, 15, 30, 42, 60}, []float64{0, .012, .060, .190, .205, .080}, Natural)
	require.NoError(t, err)
	for x, want := range map[float64]float64{
		3.5: .0037723209, 10: .0253725187, 22: .1248367644, 36: .2107304974, 50: .1630667916,
	} {
		assert.InDelta(t, want, l.At(x), 1e-8, "at %g", x)
	}
	x, y := l.Highest(0, 60)
	assert.InDelta(t, 37.61738, x, 1e-4)
	assert.InDelta(t, .2116734939, y, 1e-8)
	c := l.Crossings(.100)
	require.Len(t, c, 2)
	assert.InDelta(t, 19.41513746, c[0], 1e-8)
	assert.InDelta(t, 57.74876148, c[1], 1e-8)
	left, again, ok := l.Down(x, .100, -1)
	assert.True(t, ok)
	assert.False(t, again)
	assert.InDelta(t, 19.41513746, left, 1e-8)
	right, _, ok := l.Down(x, .100, +1)
	assert.True(t, ok)
	assert.InDelta(t, 57.74876148, right, 1e-8)
	_, _, ok = l.Down(x, .05, +1)
	assert.False(t, ok, "it does not come down to .05 on that side")
}

// scipy 1.10.1 (equal to gonum v0.17.0): the same points joined in three
// ways differ by far more than an indicator's count, which is why the shape is
// part of a result.
func TestThreeSplinesOfTheSamePoints(t *testing.T) {
	xs := []float64{0, 20, 40, 60, 80, 100, 120}
	ys := []float64{0, .9, 3.6, 7.2, 9.8, 10.6, 9.8}
	l, err := NewLine(xs, ys, Natural)
	require.NoError(t, err)
	assert.InDelta(t, .297884615, l.At(10), exact)
	assert.InDelta(t, 5.414230769, l.At(50), exact)
	assert.InDelta(t, 10.320384615, l.At(110), exact)
	x, y := l.Highest(0, 120)
	assert.InDelta(t, 98.3588818, x, 1e-6)
	assert.InDelta(t, 10.6064789, y, 1e-7)

	var knot interp.NotAKnotCubic
	require.NoError(t, knot.Fit(xs, ys))
	var mono interp.FritschButland
	require.NoError(t, mono.Fit(xs, ys))
	for i, at := range []float64{10, 50, 110} {
		assert.InDelta(t, []float64{.189285714, 5.405357143, 10.376785714}[i], knot.Predict(at), exact)
		assert.InDelta(t, []float64{.28125, 5.408294931, 10.4}[i], mono.Predict(at), exact)
	}
}

func TestHighestOfAPlateauIsItsMiddle(t *testing.T) {
	l, err := NewLine([]float64{0, 1, 2, 3, 4, 5, 6}, []float64{0, .2, .42, .42, .42, .2, 0}, Straight)
	require.NoError(t, err)
	x, y := l.Highest(0, 6)
	assert.Equal(t, 3.0, x)
	assert.Equal(t, .42, y)
}

func TestHighestBetweenLimits(t *testing.T) {
	l, err := NewLine([]float64{0, 1, 2, 3, 4}, []float64{0, 1, 4, 9, 16}, Natural)
	require.NoError(t, err)
	x, y := l.Highest(0.5, 2.5)
	assert.Equal(t, 2.5, x)
	assert.InDelta(t, l.At(2.5), y, exact)
}

func TestAreaOfStraightPieces(t *testing.T) {
	l, err := NewLine([]float64{0, 2, 5}, []float64{0, 2, 2}, Straight)
	require.NoError(t, err)
	assert.InDelta(t, 8, l.Area(-10, 10), exact)
	assert.InDelta(t, 0.5+2, l.Area(1, 3)-1, exact) // half a square of the ramp above 1, then 2
	assert.Equal(t, 1.0, l.Slope(1))
	assert.Equal(t, 0.0, l.Slope(4))
	assert.Equal(t, 0.0, l.Slope(9))
}

func TestNewLineRefusesNonsense(t *testing.T) {
	for _, c := range []struct {
		xs, ys []float64
		says   string
	}{
		{[]float64{0, 1}, []float64{0, 1}, "too few"},
		{[]float64{0, 1, 2}, []float64{0, 1}, "3 positions and 2 values"},
		{[]float64{0, 1, 1}, []float64{0, 1, 2}, "point 3 does not lie beyond"},
		{[]float64{0, 1, math.NaN()}, []float64{0, 1, 2}, "point 3 is not a number"},
		{[]float64{0, 1, 2}, []float64{0, math.Inf(1), 2}, "point 2 is not a number"},
	} {
		_, err := NewLine(c.xs, c.ys, Natural)
		assert.ErrorContains(t, err, c.says)
	}
}

// The rows of a resampled line give the line's own values, also for more
// points than there are impulses.
func TestResampleRowsAreTheLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 200).Draw(t, "points")
		xs, ys := make([]float64, n), make([]float64, n)
		x := 0.0
		for i := range xs {
			x += rapid.Float64Range(0.5, 2).Draw(t, "step")
			xs[i], ys[i] = x, rapid.Float64Range(-1, 1).Draw(t, "value")
		}
		shape := rapid.SampledFrom([]Shape{Natural, Straight}).Draw(t, "shape")
		l, err := NewLine(xs, ys, shape)
		require.NoError(t, err)
		at := []float64{xs[0], xs[0] + 0.1, xs[n/2] + 0.2, xs[n-1] - 0.1, xs[n-1]}
		for i, r := range l.Resample(at) {
			require.InDelta(t, l.At(at[i]), r.Of(ys), 1e-7)
		}
	})
}
