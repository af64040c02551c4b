package gum

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// JCGM 100:2008: 4.4.5, 96 to 104 degrees is 2.3094 (printed 2.3); 4.3.7
// example 1, copper, 0.40e-6 is 0.230940e-6 (printed 0.23e-6); F.2.2.1,
// resolutions of 0.0005 in, 0.001 in and 0.01 mm (all from memory, recomputed).
func TestRectangular(t *testing.T) {
	assert.InDelta(t, 2.3094, Rectangular(8), 5e-5)
	assert.InDelta(t, 0.230940e-6, Rectangular(0.80e-6), 5e-13)
	assert.InDelta(t, 0.000144338, Rectangular(0.0005), 5e-10)
	assert.InDelta(t, 0.000288675, Rectangular(0.001), 5e-10)
	assert.InDelta(t, 0.00288675, Rectangular(0.01), 5e-9)
}

// An own example (derived here): 0.4200 0.4205 0.4195 0.4200 0.4205 in read
// with 0.0005 in and a limit of 0.001 in either way: uc 0.000623832, U = k uc
// with k = 2 (6.2.1) 0.001247664.
func TestCombined(t *testing.T) {
	u := 0.000418330 / math.Sqrt(5) // of the mean, JCGM 100:2008, 4.2.3
	uc := Root(u, Rectangular(0.0005), Rectangular(0.002))
	assert.InDelta(t, 0.000623832, uc, 1e-9)
	assert.InDelta(t, 0.001247664, 2*uc, 1e-9)
}

// What rounding leaves in a mean, against readings that are really rounded.
func TestRoundedAgainstRounding(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, noise := range []float64{0, 0.05, 0.15, 0.25, 0.4} {
		const places, readings = 400, 4000
		var v float64
		for p := range places {
			at := (float64(p)+0.5)/places - 0.5
			sum := 0.0
			for range readings {
				sum += math.Round(at+noise*r.NormFloat64()) - at
			}
			v += (sum / readings) * (sum / readings) / places
		}
		// The mean of so many has noise of its own left in it.
		left := (noise*noise + 1.0/12) / readings
		assert.InDelta(t, Rounded(1, noise), math.Sqrt(max(v-left, 0)), 0.012, "noise %v", noise)
	}
	for last, noise := Rounded(1, 0), 0.005; noise < 1; noise += 0.005 {
		next := Rounded(1, noise)
		assert.LessOrEqual(t, next, last+1e-12, "more noise dithers more")
		last = next
	}
	assert.Zero(t, Rounded(1, 2))
	assert.Zero(t, Rounded(0, 0))
}
