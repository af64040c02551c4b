package creep_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/lift/creep"
)

// bent plays a valve that opens for eight seconds, by 10 mm, and stands shut for thirty, with
// an arm that bends by a share of the lift and follows as a body with three relaxation times
// does (a generalised Maxwell body, common practice, no source): not by the one time that
// the package fits. What the nose is low by comes with it.
func bent(share, step float64, lates ...float64) (o creep.Opening, heel []creep.Heel, low float64) {
	const every, open, rests = 0.02, 8.0, 30.0
	state := make([]float64, len(lates))
	for i := range int((open + rests) / every) {
		t := float64(i) * every
		y := 0.0
		if t < open {
			y = 5e6 * (1 - math.Cos(2*math.Pi*t/open))
		}
		bend := 0.0
		for k, late := range lates {
			state[k] += (y - state[k]) * (1 - math.Exp(-every/late))
			bend += share * state[k] / float64(len(lates))
		}
		shown := math.Round((y-bend)/step) * step
		if t < open {
			o.T, o.Y = append(o.T, t*1e6), append(o.Y, shown)
			if shown > o.Y[o.Top] {
				o.Top, low = i, bend
			}
		} else {
			heel = append(heel, creep.Heel{T: (t - open) * 1e6, Low: -shown, W: 1})
		}
	}
	return o, heel, low
}

func TestWhatAnArmThatCreepsBackTakesOff(t *testing.T) {
	for name, lates := range map[string][]float64{
		"one time":    {3},
		"three times": {0.7, 2, 6},
		"slow":        {5, 9},
	} {
		o, heel, low := bent(0.01, 1e3, lates...)
		assert.True(t, creep.Shows(heel, 1e3, 300), name)
		assert.InEpsilon(t, low, creep.Of(o, heel, 1e3), 0.5, name)
	}
	o, heel, _ := bent(0, 1e3, 3)
	assert.False(t, creep.Shows(heel, 1e3, 300), "an arm that is stiff")
	assert.Zero(t, creep.Of(o, heel, 1e3))
	_, heel, _ = bent(0.01, 1e3, 0.05)
	assert.False(t, creep.Shows(heel[20:], 1e3, 300), "one that has come back at once")
}

// A heel that drifts on leaves as much as it takes; no arm bends by more than a share.
func TestWhatIsNoArm(t *testing.T) {
	o, heel, _ := bent(0, 1e3, 3)
	for i := range heel {
		heel[i].Low = 2e4 + 2e3*math.Sin(heel[i].T/1e6*5)
	}
	assert.Zero(t, creep.Of(o, heel, 1e3), "a heel that goes up and down")
	o, heel, _ = bent(0.3, 1e3, 3)
	assert.LessOrEqual(t, creep.Of(o, heel, 1e3), 0.05*o.Y[o.Top])
}
