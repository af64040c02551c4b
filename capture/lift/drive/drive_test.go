package drive

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// turned returns four openings of a harmonic lobe of 10 mm and 240 degrees, turned by an
// uneven hand at 100 readings a second whose lift comes late by so many seconds; the
// encoder slips by so many degrees before the third.
func turned(late, slip float64) (all []*Passage, ways []Turned) {
	crank := func(t float64) float64 { return 60*t + 12*math.Sin(2*math.Pi*0.7*t) - 120 }
	lift := func(a float64) float64 {
		if a = math.Remainder(a, Cycle); math.Abs(a) >= 120 {
			return 0
		}
		return 5e6 * (1 + math.Cos(a/120*math.Pi))
	}
	for i := range 4 {
		r := Readings{Lift: 10e6, Way: 1, NoseA: float64(i) * Cycle}
		for t := 0.0; t < 60; t += 0.01 {
			a, y := crank(t), lift(crank(t-late))
			if math.Abs(a-float64(i)*Cycle) > 119 {
				continue
			}
			if i >= 2 {
				a += slip
			}
			if len(r.Y) > 0 && y < r.Y[len(r.Y)-1] && r.NoseAt == 0 {
				r.NoseAt = t * s
			}
			r.T, r.A, r.Y = append(r.T, t*s), append(r.A, a), append(r.Y, y)
		}
		if i >= 2 {
			r.NoseA += slip
		}
		o := Take(&r)
		all, ways = append(all, o), append(ways, Turned{Passage: o, Open: measure.Stamp(r.T[0]), Nose: measure.Stamp(r.NoseAt), Alone: true})
	}
	return all, ways
}

func counted(_, _ measure.Stamp) bool { return false }

// A delay that was put in is found within its uncertainty, and whole turns are whole;
// one that is not is told, with where it was and by how much.
func TestDelayAndSlip(t *testing.T) {
	for _, late := range []float64{0, 0.02, -0.03} {
		for _, slip := range []float64{0, 3} {
			all, ways := turned(late, slip)
			f := Of(all)
			require.True(t, f.OK)
			assert.InDelta(t, late, f.Lag, 2*f.U, "late %v, slipped %v", late, slip)
			assert.Less(t, f.U, 0.004, "an uneven hand tells")
			turns := f.Turns(ways, counted)
			if slip == 0 {
				assert.Equal(t, Turns{Loose: turns.Loose}, turns)
				continue
			}
			assert.Equal(t, Slipped, turns.Trouble)
			assert.Equal(t, 2, turns.At)
			assert.InDelta(t, slip, turns.By, 0.3)
		}
	}
}

// Too few readings tell nothing: what is known is what was known before.
func TestTooFewReadings(t *testing.T) {
	all, _ := turned(0, 0)
	all[0].flanks = all[0].flanks[:2]
	f := Of(all[:1])
	assert.Equal(t, Unfitted(), f)
	assert.Equal(t, UnknownLag, f.U)
}
