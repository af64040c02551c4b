package lobe

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Parabola through three points (formula from memory; values checked against a
// polynomial fit).
func TestVertex(t *testing.T) {
	x := []float64{-1, 0, 1}
	for _, c := range []struct {
		y        []float64
		at, peak float64
	}{
		{[]float64{.417, .420, .418}, 0.1, .420025},
		{[]float64{.400, .420, .410}, 1.0 / 6, .4204166667},
		{[]float64{.419, .420, .419}, 0, .420},
		{[]float64{.415, .420, .420}, 0.5, .420625},
	} {
		at, peak, ok := vertex(x, c.y)
		assert.True(t, ok)
		assert.InDelta(t, c.at, at, 1e-9)
		assert.InDelta(t, c.peak, peak, 1e-9)
	}
	_, _, ok := vertex(x, []float64{.42, .42, .42})
	assert.False(t, ok, "a flat has no vertex")
	_, _, ok = vertex([]float64{0, 0, 1}, []float64{.41, .42, .41})
	assert.False(t, ok, "nor have two readings at one place")
}

// A fit over many readings of a parabola gives its vertex back.
func TestFitPeak(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var x, y, w []float64
	for i := range 101 {
		u := float64(i-50) / 10
		x, y, w = append(x, 7+u), append(y, 1000-3*(u-0.7)*(u-0.7)+r.NormFloat64()), append(w, 1)
	}
	p, ok := fitPeak(x, y, w, 1)
	assert.True(t, ok)
	assert.InDelta(t, 7.7, p.X, 0.05)
	assert.InDelta(t, 1000, p.Y, 4*p.Noise)
	assert.Less(t, p.Noise, 0.25)
	for i := range y {
		y[i] = 1000 - 30*math.Abs(x[i]-7)
	}
	_, ok = fitPeak(x, y, w, 1)
	assert.False(t, ok, "a roof is no parabola")
}
