package lobe

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const footHeight, footEdge = 10e6, 20e3 // nanometres

// feetOf are the feet of four openings whose flanks have a law of lift over the crank angle,
// degrees from where the lobe begins, less what is hidden of it; seen every so many degrees
// with some scatter.
func feetOf(r *rand.Rand, law func(x float64) float64, hidden, every, scatter float64) *Feet {
	var f Feet
	for range 4 {
		var feet [2]Foot
		for side := range feet {
			var a, y []float64
			for x := -20 + every*r.Float64(); x < 60; x += every {
				h := max(law(max(x, 0))-hidden, 0)
				if h > footHeight {
					break
				}
				a, y = append(a, x), append(y, h+scatter*r.NormFloat64())
			}
			feet[side] = FootOf(a, y, footEdge, footHeight)
		}
		f.Add(feet)
	}
	return &f
}

// A flank that speeds up evenly from rest, y = a x²/2, and is met only when it has gone a
// way h, has the slope √(2ah) there and had gone that way: motion under a steady
// acceleration.
func TestFeetOfALobeWithoutRamp(t *testing.T) {
	const accel = 4_000.0 // nanometres a degree squared
	r := rand.New(rand.NewPCG(3, 1))
	for _, h := range []float64{0.03e6, 0.1e6, 0.2e6, 0.6e6, 0.7e6} {
		f := feetOf(r, func(x float64) float64 { return accel / 2 * x * x }, h, 0.25, 2000).Free()
		require.True(t, f.Known)
		assert.InDelta(t, math.Sqrt(2*accel*h), f.Slope, 3e3, "free by %v", h)
		assert.InEpsilon(t, h, f.Seems, 0.25)
		assert.InEpsilon(t, h, f.Corner, 0.4)
		assert.Greater(t, f.Most, h)
	}
}

// Of a lobe that begins more softly than a parabola more is hidden than its corner says, and
// no more than is stated at the most.
func TestFeetHoldWhatASofterLobeHides(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 2))
	for _, power := range []float64{2, 3, 4} {
		for _, h := range []float64{0.1e6, 0.3e6, 0.8e6} {
			f := feetOf(r, func(x float64) float64 { return 10e6 * math.Pow(x/55, power) }, h, 0.25, 2000).Free()
			require.True(t, f.Known)
			assert.Greater(t, f.Most, h, "power %v, free by %v", power, h)
			assert.Less(t, f.Corner, 1.4*h)
		}
	}
}

// A lash on a ramp leaves a corner as well, but the flank goes on at an even pace first.
func TestFeetOnARamp(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	ramp := func(x float64) float64 { // 0.25 mm in 25 degrees
		return 10e3*x + 8_000/2*math.Pow(max(x-25, 0), 2)
	}
	for _, lash := range []float64{0.05e6, 0.1e6, 0.15e6} {
		f := feetOf(r, ramp, lash, 0.25, 2000).Free()
		require.True(t, f.Known)
		assert.Zero(t, f.Corner, "lash %v", lash)
	}
}

// Without lash no corner is there: of a parabola, of a fourth power, and of a cam of arcs
// whose flank begins with a jump of acceleration and goes on at an even pace at a twentieth of
// its lift already, so that its shape further up looks cut off.
func TestFeetWithoutACorner(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	arcs := func(x float64) float64 {
		if b := 9.0; x > b {
			return 12_600/2*b*b + 12_600*b*(x-b)
		}
		return 12_600 / 2 * x * x
	}
	for name, law := range map[string]func(x float64) float64{
		"parabola": func(x float64) float64 { return 4_000 / 2 * x * x },
		"fourth":   func(x float64) float64 { return 10e6 * math.Pow(x/55, 4) },
		"arcs":     arcs,
	} {
		for range 50 {
			f := feetOf(r, law, 0, 0.25, 2000).Free()
			require.True(t, f.Known, name)
			assert.Less(t, f.Corner, 0.015e6, name)
			assert.Less(t, f.Most, 0.4e6, name)
		}
	}
	// The arcs' whole foot alone has a slope where it meets the heel.
	whole, _ := middle(feetOf(r, arcs, 0, 0.25, 2000)[0], 0).free(0)
	assert.Greater(t, math.Sqrt(whole), 20e3)
}

// Coarser readings leave more open, and say so: of a lobe that hangs free, what it takes off
// is no more than what is stated in all but few of many sets of readings.
func TestFeetOfFewReadings(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	const h, accel, sets = 0.3e6, 4_000.0, 400
	for _, every := range []float64{0.3, 1, 1.8} {
		over, under := 0, 0
		for range sets {
			f := feetOf(r, func(x float64) float64 { return accel / 2 * x * x }, h, every, 6000).Free()
			require.True(t, f.Known)
			if f.Corner < 0.9*h {
				under++
			}
			if f.Most < h {
				over++
			}
		}
		assert.Less(t, under, sets/10, "every %v degrees", every)
		assert.Less(t, over, sets/100, "every %v degrees", every)
	}
}

func TestFeetThatSayNothing(t *testing.T) {
	var f Feet
	assert.False(t, f.Free().Known, "none were seen")
	a, y := []float64{0, 1, 2, 3, 4, 5, 6}, []float64{0, 1e6, 2e6, 3e6, 4e6, 5e6, 6e6}
	foot := FootOf(a, y, footEdge, footHeight)
	f.Add([2]Foot{foot, foot})
	assert.False(t, f.Free().Known, "too few readings lie on it")
	foot = FootOf(a[:1], y[:1], footEdge, footHeight)
	f.Add([2]Foot{foot, foot})
	assert.False(t, f.Free().Known, "it ends on the heel")
}
