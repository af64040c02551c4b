package smooth

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// exact is the tolerance of a comparison with a value known in full.
const exact = 1e-9

// Savitzky and Golay, Analytical Chemistry 36 (1964), tables of convoluting
// integers: the 5-point smoothing row was seen, the others are from memory;
// all agree with scipy 1.10.1 savgol_coeffs to 1e-9. A quadratic and a cubic
// smooth alike, and so do they for the second derivative.
func TestKernelGivesTheIntegersOf1964(t *testing.T) {
	for _, c := range []struct {
		window, deriv int
		orders        []int
		integers      []float64
		over          float64
	}{
		{5, 0, []int{2, 3}, []float64{-3, 12, 17, 12, -3}, 35},
		{7, 0, []int{2, 3}, []float64{-2, 3, 6, 7, 6, 3, -2}, 21},
		{9, 0, []int{2, 3}, []float64{-21, 14, 39, 54, 59, 54, 39, 14, -21}, 231},
		{5, 1, []int{2}, []float64{-2, -1, 0, 1, 2}, 10},
		{7, 1, []int{2}, []float64{-3, -2, -1, 0, 1, 2, 3}, 28},
		{5, 1, []int{3, 4}, []float64{1, -8, 0, 8, -1}, 12},
		{7, 1, []int{3, 4}, []float64{22, -67, -58, 0, 58, 67, -22}, 252},
		{5, 2, []int{2, 3}, []float64{2, -1, -2, -1, 2}, 7},
		{7, 2, []int{2, 3}, []float64{5, 0, -3, -4, -3, 0, 5}, 42},
	} {
		for _, order := range c.orders {
			k, err := NewKernel(c.window, order)
			require.NoError(t, err)
			got := k.Coefficients(c.deriv, 0, 1)
			for i, want := range c.integers {
				assert.InDelta(t, want/c.over, got[i], exact, "window %d order %d derivative %d", c.window, order, c.deriv)
			}
		}
	}
}

// scipy 1.10.1, savgol_filter(y, ..., mode="interp").
func TestFilterAgreesWithScipy(t *testing.T) {
	y := []float64{0, .002, .011, .037, .081, .128, .171, .198, .210, .205, .183, .144, .095}
	for _, c := range []struct {
		name          string
		window, deriv int
		step          float64
		want          []float64
	}{
		{"5 points", 5, 0, 1, []float64{.001228571, -.000714286, .011771429, .038371429, .080314286, .128428571, .169885714, .198257143, .209828571, .205, .1824, .1458, .0942}},
		{"7 points", 7, 0, 1, []float64{-.002380952, .001785714, .016214286, .040904762, .081095238, .127190476, .168666667, .197285714, .209809524, .204142857, .183214286, .146357143, .093571429}},
		{"5 points, slope, 10 apart", 5, 1, 10, []float64{-.000915714, .000527143, .00197, .00322, .00411, .00412, .00328, .00193, .00031, -.00135, -.00291, -.00441, -.00591}},
	} {
		k, err := NewKernel(c.window, 2)
		require.NoError(t, err)
		got, err := filtered(k, y, c.deriv, c.step)
		require.NoError(t, err)
		require.Len(t, got, len(c.want))
		// The vectors are printed to nine decimals: half of the last is added.
		assert.InDeltaSlice(t, c.want, got, exact+5e-10, c.name)
	}
}

// A polynomial of the kernel's own order goes through it unchanged, with every
// derivative, wherever in the window it is taken.
func TestKernelKeepsItsPolynomials(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		half := rapid.IntRange(2, 15).Draw(t, "half")
		order := rapid.IntRange(1, min(6, 2*half)).Draw(t, "order")
		step := rapid.Float64Range(0.1, 10).Draw(t, "step")
		c := rapid.SliceOfN(rapid.Float64Range(-1, 1), order+1, order+1).Draw(t, "polynomial")
		deriv := rapid.IntRange(0, order).Draw(t, "derivative")
		k, err := NewKernel(2*half+1, order)
		require.NoError(t, err)
		n := 2*half + 1 + rapid.IntRange(0, 5).Draw(t, "more")
		ys, want := make([]float64, n), make([]float64, n)
		for i := range ys {
			x := float64(i-n/2) / float64(half) // near 1, so that no power dwarfs another
			for p, v := range c {
				ys[i] += v * math.Pow(x, float64(p))
				if p >= deriv {
					f := v * math.Pow(x, float64(p-deriv)) * math.Pow(float64(half)*step, -float64(deriv))
					for m := range deriv {
						f *= float64(p - m)
					}
					want[i] += f
				}
			}
		}
		got, err := filtered(k, ys, deriv, step)
		require.NoError(t, err)
		scale := math.Pow(float64(half)*step, -float64(deriv)) * 1e6
		require.InDeltaSlice(t, want, got, exact*max(scale, 1))
	})
}

func TestKernelRefusesNonsense(t *testing.T) {
	for _, c := range [][2]int{{4, 2}, {1, 0}, {5, 5}, {5, -1}, {31, 13}} {
		_, err := NewKernel(c[0], c[1])
		assert.Error(t, err, c)
	}
	k, err := NewKernel(5, 2)
	require.NoError(t, err)
	_, err = filtered(k, []float64{1, 2, 3}, 0, 1)
	assert.ErrorContains(t, err, "only 3")
}

// filtered returns the derivative number deriv of ys, which stand step apart.
func filtered(k *Kernel, ys []float64, deriv int, step float64) ([]float64, error) {
	rows, err := k.Rows(len(ys), deriv, step)
	out := make([]float64, len(rows))
	for i, r := range rows {
		out[i] = r.Of(ys)
	}
	return out, err
}
