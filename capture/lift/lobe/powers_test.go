package lobe

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/internal/gum"
)

// nose returns readings of c0 - c|x-x0|^p that scatter by sd.
func nose(n int, power, x0, top, depth, sd float64, r *rand.Rand) (x, y, w []float64) {
	for i := range n {
		u := 2*float64(i)/float64(n-1) - 1
		c := depth
		if u > x0 {
			c *= 1.5 // the flanks differ
		}
		x, y, w = append(x, 40+u), append(y, top-c*math.Pow(math.Abs(u-x0), power)+sd*r.NormFloat64()), append(w, 1)
	}
	return x, y, w
}

// A nose without noise is given back, whichever power it is of.
func TestFitPower(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for power := leastPower; power <= mostPower; power++ {
		x, y, w := nose(41, float64(power), 0.13, 1e7, 80e3, 0, r)
		f := fitPower(x, y, w, power, true)
		assert.True(t, f.ok)
		assert.InDelta(t, 40.13, f.x, 1e-3, "power %d", power)
		assert.InDelta(t, 1e7, f.y, 1, "power %d", power)
	}
	x, y, w := nose(41, 2, 0, 0, -80e3, 0, r)
	assert.False(t, fitPower(x, y, w, 2, true).ok, "a valley is no nose")
}

// A parabola laid over a cube is too high by a sixteenth of the window's depth,
// over a fourth power by 3/35 of it. Derived here: the constant term of the least
// squares fit a + b u² to u^p on [-1, 1] is, with the moments <u^k> = 1/(k+1),
// a = (<u^p><u⁴> - <u^(p+2)><u²>) / (<u⁴> - <u²>²).
func TestParabolaOverOtherNoses(t *testing.T) {
	for power, want := range map[float64]float64{3: 1.0 / 16, 4: 3.0 / 35} {
		var x, y, w []float64
		for i := range 2001 {
			u := float64(i-1000) / 1000
			x, y, w = append(x, u), append(y, -math.Pow(math.Abs(u), power)), append(w, 1)
		}
		p, ok := fitPeak(x, y, w, 1)
		assert.True(t, ok)
		assert.InDelta(t, want, p.Y, 1e-3, "power %v", power)
		assert.InDelta(t, 0, averaged(p, x, y, w, 0.001).Y, 1e-3, "power %v", power)
	}
}

// Whichever of the powers a nose is of, the mean over all covers its top about
// as often as twice the standard uncertainty should.
func TestAveragedCovers(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	for _, n := range []int{16, 40, 200} {
		for power := 2.0; power <= 4; power++ {
			const runs = 400
			covered, off := 0, 0.0
			for range runs {
				x, y, w := nose(n, power, 0.3*r.Float64()-0.15, 0, 20, 1, r)
				p, ok := fitPeak(x, y, w, 1)
				if !ok {
					p = Peak{}
				}
				p = averaged(p, x, y, w, 1)
				if math.Abs(p.Y) <= 2*gum.Root(p.Noise, p.Short) {
					covered++
				}
				off += p.Y / runs
			}
			assert.GreaterOrEqual(t, covered, runs*90/100, "%d readings, power %v", n, power)
			assert.Less(t, math.Abs(off), 1.0, "%d readings, power %v: off by %.2f of a reading's noise on average", n, power, off)
		}
	}
}

// A rest short of the nose does not draw the fit to it, though noise has put the
// highest reading there.
func TestHighestReadingIsNoise(t *testing.T) {
	y := make([]float64, 200)
	for i := range y {
		switch {
		case i < 100:
			y[i] = 1000 // the rest
		case i < 120:
			y[i] = 1002 // the nose
		default:
			y[i] = 1000
		}
	}
	y[20] = 1003
	at := amidHighest(y, 20, 1)
	assert.GreaterOrEqual(t, at, 100)
	assert.Less(t, at, 120)
	assert.Equal(t, 1, amidHighest([]float64{0, 50, 0}, 1, 1))
}

// Readings beside one another are one, those apart are left alone.
func TestApart(t *testing.T) {
	x, y, w, top := apart([]float64{0, 0.5, 1, 5, 9}, []float64{1, 2, 3, 9, 4}, []float64{1, 1, 1, 1, 1}, 1)
	assert.Equal(t, []float64{0.5, 5, 9}, x)
	assert.Equal(t, []float64{2, 9, 4}, y)
	assert.Equal(t, []float64{3, 1, 1}, w)
	assert.Equal(t, 1, top)
}
