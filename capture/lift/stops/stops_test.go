package stops

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/lift/lobe"
)

// nose returns readings every half degree over a harmonic lobe of 10 mm, (1 + cos x)/2
// of it, cut off flat so far under its top; nanometres.
func nose(cut, noise float64, r *rand.Rand) lobe.Curve {
	c := lobe.Curve{Along: lobe.OfAngle, Scatter: max(noise, 300)}
	for a := -120.0; a <= 120; a += 0.5 {
		y := 5e6 * (1 + math.Cos(a/120*math.Pi))
		c.X, c.Y = append(c.X, a), append(c.Y, min(y, 10e6-cut)+noise*r.NormFloat64())
		if n := len(c.Y) - 1; c.Y[n] > c.Y[c.Top] {
			c.Top = n
		}
	}
	c.Height = c.Y[c.Top]
	return c
}

// A nose that is whole leaves a stop out to within a count of 0.01 mm. One that is cut
// off is told, and what the ± then holds is no less than what was cut off, but for half a
// step from one of the sizes that are weighed to the next; it may be more.
func TestStops(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for _, cut := range []float64{0, 50 * um, 110 * um, 380 * um} {
		var s Sums
		for range 4 {
			c := nose(cut, 1*um, r)
			s.Add(Of(c, 10e6-cut, 0.05), 0, 0)
		}
		assert.Equal(t, 4, s.N)
		assert.Equal(t, cut > 0, s.Tells(true, 30*um), "cut off by %v", cut)
		if cut == 0 {
			assert.Less(t, s.Takes(), 10*um)
			continue
		}
		assert.Greater(t, s.Takes(), cut/1.5, "cut off by %v", cut)
	}
}

// A hand that creeps over the nose to find it leaves hundreds of readings there. Where they
// are noisy the highest of them is not the nose, and one far out may seem to be on it.
func TestANoseCreptOverIsNoStop(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 11))
	for range 20 {
		var s Sums
		for range 4 {
			c := lobe.Curve{Along: lobe.OfAngle, Scatter: 16 * um, Height: 13e6}
			for a := -30.0; a <= 30; a += 0.04 {
				c.X, c.Y = append(c.X, a), append(c.Y, 13e6-1.2*um*a*a+16*um*r.NormFloat64())
				if i := len(c.Y) - 1; c.Y[i] > c.Y[c.Top] {
					c.Top = i
				}
			}
			s.Add(Of(c, 13e6, 0.05), 0, 0)
		}
		assert.False(t, s.Tells(true, 30*um), "%.1f", s.says)
	}
}

// Few lobes have a flat nose: one that looks flat more likely stopped, as far as its edges
// leave that open.
func TestAFlatNoseMayHaveStopped(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	round := Of(nose(0, 4*um, r), 10e6, 0.05)
	assert.True(t, round.OK)
	assert.False(t, round.flat)
	cut := Of(nose(75*um, 4*um, r), 10e6-75*um, 0.05)
	assert.True(t, cut.flat)

	said := cut // its edges leave it open
	said.flanks, said.lasts = round.flanks, round.lasts
	var flat, not Sums
	flat.Add(said, 0, 0)
	said.flat = false
	not.Add(said, 0, 0)
	assert.Greater(t, flat.Takes(), 2*not.Takes())
}

// What the edges leave out is no part of a bound on what a stop took off.
func TestWhatTheEdgesLeaveOut(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	var none, whole, cut Sums
	assert.True(t, math.IsInf(none.AtMost(), 1))
	for range 3 {
		whole.Add(Of(nose(0, 1*um, r), 10e6, 0.05), 0, 0)
		cut.Add(Of(nose(170*um, 1*um, r), 10e6-170*um, 0.05), 0, 0)
	}
	assert.Less(t, whole.AtMost(), 75*um)
	assert.GreaterOrEqual(t, cut.AtMost(), 170*um)
}

// A spindle that rubs by a length under its load shows a nose lower by it, and goes back once
// the valve has gone back by twice that: told from a sound nose, and from one that is cut off,
// by the flank that has it.
func TestASpindleThatLagsUnderItsLoad(t *testing.T) {
	r := rand.New(rand.NewPCG(10, 10))
	for _, rubs := range []float64{0, 100 * um, 200 * um} {
		var s Sums
		for range 2 {
			c := nose(0, 0, r)
			shown := c.Y[0]
			for i, y := range c.Y {
				shown = min(max(shown, y-rubs), y+rubs)
				c.Y[i] = shown + 1*um*r.NormFloat64()
			}
			c.Top = len(c.Y) / 2
			c.Height, c.Scatter = 10e6-rubs, 1*um
			s.Add(Of(c, c.Height, 0.05), 0, 0)
		}
		by, told := s.Lags()
		assert.Equal(t, rubs > 0, told, "rubs by %v", rubs)
		assert.False(t, s.Tells(true, 30*um), "rubs by %v: no stop", rubs)
		assert.GreaterOrEqual(t, by, 0.6*rubs, "what the ± holds")
	}
	var cut Sums
	cut.Add(Of(nose(200*um, 1*um, r), 9.8e6, 0.05), 0, 0)
	_, told := cut.Lags()
	assert.False(t, told)
}
