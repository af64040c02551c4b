package lobe

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A flank that speeds up evenly from rest, y = a x²/2, and is met only when it has gone a
// way h, has the slope √(2ah) there and had gone that way: motion under a steady
// acceleration. On a ramp it has the ramp's slope, and had gone no way to speak of.
func TestFootOf(t *testing.T) {
	const accel = 8_000.0 // nanometres a degree squared
	for _, h := range []float64{0, 0.2e6, 0.6e6, 1.2e6} {
		var a, y []float64
		for x := -20.0; x < 30; x += 0.5 {
			a, y = append(a, x), append(y, max(accel/2*max(x, 0)*max(x, 0)-h, 0))
		}
		f, ok := FootOf(a, y, 20e3, 10e6)
		require.True(t, ok)
		assert.InDelta(t, math.Sqrt(2*accel*h), f.Slope, 100, "free by %v", h)
		assert.InDelta(t, h, f.Free, 1000)
	}
	var a, y []float64
	for x := -20.0; x < 40; x += 0.5 {
		a, y = append(a, x), append(y, 12e3*max(x, 0)+accel/2*max(x-10, 0)*max(x-10, 0))
	}
	f, ok := FootOf(a, y, 20e3, 10e6)
	require.True(t, ok)
	assert.Less(t, f.Slope, 15e3)

	_, ok = FootOf(a[:41], y[:41], 20e3, 10e6)
	assert.False(t, ok, "it ends on the heel")
	_, ok = FootOf([]float64{0, 1, 2, 3}, []float64{0, 1e6, 2e6, 3e6}, 20e3, 10e6)
	assert.False(t, ok, "too few readings lie on it")
}
