package runout

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A base circle that is out by a length lifts the heel by a sine of that height once a turn:
// nine tenths of its time lie within sin(0.45 pi), 0.988, of it (derived here). A true one
// wanders by no more than its noise makes.
func TestOf(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	heel := func(out float64, angles bool) []Reading {
		var p []Reading
		for a := 0.0; a <= 440; a++ {
			q := Reading{Y: out/2*math.Sin(a*math.Pi/180) + 300*r.NormFloat64(), A: math.NaN()}
			if angles {
				q.A = a
			}
			p = append(p, q)
		}
		return p
	}
	by := Indicator{Step: 1e3, Noise: 300, Wide: 2e3}
	for _, angles := range []bool{true, false} {
		runOut, wander := Of(heel(0, angles), by)
		assert.Zero(t, runOut)
		assert.Less(t, wander, 500.0)
		runOut, wander = Of(heel(18e3, angles), by)
		assert.InDelta(t, 0.988*18e3-by.Step-4*by.Noise, runOut, 1.5e3)
		assert.GreaterOrEqual(t, wander, runOut)
	}
	runOut, wander := Of(heel(18e3, false)[:least-1], by)
	assert.Zero(t, runOut+wander, "too few readings")
}

// A flank's end at either end of the stretch is no heel.
func TestAFlankIsNoHeel(t *testing.T) {
	by := Indicator{Step: 1e3, Noise: 100, Wide: 2e3}
	var p []Reading
	for a := 0.0; a <= 400; a++ {
		p = append(p, Reading{Y: 50e3*max(0, 1-a/35) + 50e3*max(0, 1-(400-a)/35), A: a})
	}
	runOut, wander := Of(p, by)
	assert.Zero(t, runOut+wander, "with an encoder")
	for i := range p {
		p[i].A = math.NaN()
	}
	runOut, _ = Of(p, by)
	assert.Less(t, runOut, by.Wide, "without")
}
