package sinking

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift/evidence"
)

// passage returns an opening of 10 mm at 50 readings a second, turned through in strokes of
// half a second with a pause of 1.5 s after each, whose valve sinks at a pace, mm a second.
func passage(pace float64, r *rand.Rand) *Readings {
	v := &Readings{Height: 10e6, Step: 1e3, Noise: 1e3}
	turned := 0.0
	for t := 0.0; turned < 1; t += 0.02 {
		if math.Mod(t, 2) < 0.5 {
			turned += 0.005
		}
		y := 5*(1-math.Cos(2*math.Pi*turned)) - pace*t
		v.T, v.Y = append(v.T, t*s), append(v.Y, math.Round(y*1e3+r.NormFloat64())*1e3)
		v.W, v.A = append(v.W, 1), append(v.A, math.NaN())
	}
	return v
}

// A lifter that bleeds down is told from one that stands, by its pauses alone, with its
// pace; one that stands speaks against it.
func TestPausesTellAPace(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, pace := range []float64{0, 0.02, 0.06} {
		var k Sums
		require.False(t, k.Paced())
		for range 3 {
			all := Pauses(passage(pace, r))
			require.GreaterOrEqual(t, len(all), 5)
			k.Add(all, evidence.Shape{})
		}
		require.True(t, k.Paced())
		weight, found, most := k.Weigh()
		if pace == 0 {
			assert.Less(t, weight, 0.0)
			continue
		}
		assert.Greater(t, weight, 7.0)
		assert.InEpsilon(t, pace, found, 0.15, "the paces that are weighed lie an eighth apart")
		assert.GreaterOrEqual(t, most, found)
	}
}

// What the flanks say counts like pauses, by its own uncertainty.
func TestFlanksTellAPace(t *testing.T) {
	var k Sums
	k.Flanks(0.03, 0.002)
	require.True(t, k.Paced())
	weight, found, _ := k.Weigh()
	assert.Greater(t, weight, 3.0)
	assert.InEpsilon(t, 0.03, found, 0.15)
	k.Flanks(0, 0.002)
	weight, _, _ = k.Weigh()
	assert.Less(t, weight, 0.0)
}

// A closing foot that is cut short tells what the valve has sunk by then; feet that are
// alike, or a closing one that is the slower, tell nothing. The way over the heel goes with
// the root of lift: bands with 0.06 and 0.03 of the lift in their middle that take 0.7 of
// the time lie higher by 1/0.49 - 1 times that (derived in place).
func TestAShortClosingFoot(t *testing.T) {
	shape := func(by float64) evidence.Shape {
		s := evidence.Shape{OK: true}
		for i := range s.Flanks[1].Foot {
			s.Flanks[1].Foot[i] = by
		}
		return s
	}
	for by, want := range map[float64]float64{0: 0, 0.5: 0, math.Log(1.0 / 3): mostSunk, math.Log(0.7): (0.06 + 0.03) / 2 * (1/0.49 - 1)} {
		var k Sums
		k.Add(nil, shape(by))
		assert.InDelta(t, want, k.Shut(), 1e-9, "%v", by)
	}
}

// Noses that agree, reached now sooner and now later, leave out a valve that sinks; by ones
// that were reached alike nobody can tell. One that sinks is within the bound.
func TestNosesBoundAPace(t *testing.T) {
	at := func(pace, every float64) (noses []Nose) {
		for i := range 4 {
			after := (3 + every*float64(i)) * s
			noses = append(noses, Nose{After: after, Lift: 10e6 - pace*after + 500*float64(i%2), U: 1e3})
		}
		return noses
	}
	assert.Less(t, AtMost(at(0, 4)), 1e-3, "a micrometre a second")
	assert.True(t, math.IsInf(AtMost(at(0, 0)), 1))
	assert.True(t, math.IsInf(AtMost(at(0, 4)[:1]), 1), "there is nothing to compare with")
	bound := AtMost(at(0.05, 4))
	assert.Greater(t, bound, 0.05)
	assert.Less(t, bound, 0.052)
}

// A lifter that was empty by the first pause that stood has lost no more than it can by then.
func TestAnEmptyLifterLostWhatItCould(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var stands, sinks Sums
	assert.True(t, math.IsInf(stands.Empty(), 1))
	stands.Add(Pauses(passage(0, r)), evidence.Shape{})
	assert.Less(t, stands.Empty(), 1e6, "the first pause with the valve open is that of the third stroke at the latest")
	sinks.Add(Pauses(passage(0.05, r)), evidence.Shape{})
	assert.True(t, math.IsInf(sinks.Empty(), 1))
}
