package lift_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// An arm that bends by a hundredth of the lift, and follows it two seconds late, shows the
// heel low when the valve has shut: what the nose is low by is in its ±, and said. A sound
// stand's is as narrow as ever. The law is that of a spring beside a spring and a damper, the
// standard linear solid of any textbook on viscoelasticity.
func TestAnArmThatCreepsBackIsInTheUncertainty(t *testing.T) {
	heel := leg{rest: 9}
	sound := turned(-200, 50, heel, leg{to: 200, speed: 60}, heel, leg{to: 920, speed: 60}, heel)
	bent := 0.0
	creeps := coarse(from(0, sound, func(r measure.Reading, first measure.Length) measure.Length {
		bent += (0.01*float64(r.Lift-first) - bent) * (1 - math.Exp(-0.02/2))
		return r.Lift - measure.Length(math.Round(bent))
	}), 2500)
	held := func(f lift.Findings) measure.Length {
		i := slices.IndexFunc(f.Held, func(h lift.Held) bool { return h.Kind == lift.Sticking })
		if i < 0 {
			return 0
		}
		return f.Held[i].By
	}
	for _, encoder := range []bool{true, false} {
		if !encoder {
			sound, creeps = withoutAngles(sound), withoutAngles(creeps)
		}
		was, err := lift.Analyse(sound, lift.Options{})
		require.NoError(t, err)
		is, err := lift.Analyse(creeps, lift.Options{})
		require.NoError(t, err)
		require.Len(t, was.Openings, 2)
		require.Len(t, is.Openings, 2)
		assert.Zero(t, held(was), "encoder %v", encoder)
		for i, o := range is.Openings {
			off := was.Openings[i].MaxLift - o.MaxLift
			assert.Greater(t, off, 20*measure.Micrometre, "the arm takes something off")
			assert.GreaterOrEqual(t, o.MaxLiftU, off, "encoder %v", encoder)
			assert.InEpsilon(t, float64(off), float64(held(is)), 0.6, "encoder %v: what is said", encoder)
		}
	}
}
