package lobe

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// From a depth D under a nose that falls with the power p to half of it a flank goes
// (1-2^(-1/p))/(1.5^(1/p)-1) times as far as from one and a half D to D, whatever D is:
// the depth is the distance to the power p (derived here). Above a level at which an
// indicator follows with a fifth of the way it goes about five times as far.
func TestBendOf(t *testing.T) {
	flank := func(p float64, follows func(y float64) float64) (x, y []float64) {
		for a := -100.0; a <= 0; a += 0.25 {
			x, y = append(x, a), append(y, follows(10e6*(1-math.Pow(-a/100, p))))
		}
		return x, y
	}
	for _, p := range []float64{2, 3, 4} {
		x, y := flank(p, func(y float64) float64 { return y })
		said := 0
		for i, b := range BendOf(x, y, 0.25, 10e6, 3e3) {
			if math.IsNaN(b) {
				continue
			}
			said++
			assert.InDelta(t, math.Log((1-math.Pow(2, -1/p))/(math.Pow(1.5, 1/p)-1)), b, 0.05, "power %v, %v deep", p, BendDepth(i))
		}
		assert.Greater(t, said, 5)
	}
	const stop = 9e6
	x, y := flank(2, func(y float64) float64 { return min(y, stop) + max(y-stop, 0)/5 })
	most, deep := math.Inf(-1), 0.0
	for i, b := range BendOf(x, y, 0.25, y[len(y)-1], 3e3) {
		if b > most {
			most, deep = b, BendDepth(i)
		}
	}
	assert.Greater(t, most, math.Log(4))
	assert.InDelta(t, 0.2/9.2, deep, 0.01, "it is told where it is")

	for _, b := range BendOf(x[:1], y[:1], 0.25, 10e6, 3e3) {
		assert.True(t, math.IsNaN(b))
	}
}
