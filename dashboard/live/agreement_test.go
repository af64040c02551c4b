package live_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/lift"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
)

// The first opening that is told while the engine turns knows the least of what the
// openings share; once a later one has left that out, the figure that they agree on says so.
func TestAgreedByWhatTheNewestKnows(t *testing.T) {
	um := measure.Micrometre
	first := lift.Opening{Nose: 1, MaxLift: 11_200 * um, MaxLiftU: 110 * um, RepeatsU: 6 * um}
	second := lift.Opening{Nose: 2, MaxLift: 11_203 * um, MaxLiftU: 10 * um, RepeatsU: 6 * um}
	a := live.Agree([]lift.Opening{first, second}, nil)
	assert.True(t, a.Agree)
	assert.InDelta(t, 10, float64(a.MaxLiftU)/float64(um), 0.1)
	a = live.Agree([]lift.Opening{first}, nil)
	assert.Equal(t, 110*um, a.MaxLiftU, "alone it keeps its own")
	first.RepeatsU, second.RepeatsU = 0, 0
	a = live.Agree([]lift.Opening{first, second}, nil)
	assert.Equal(t, 60*um, a.MaxLiftU, "of findings each ± is its own")
	second.MaxLift += 40 * um
	first.RepeatsU, second.RepeatsU = 6*um, 6*um
	a = live.Agree([]lift.Opening{first, second}, nil)
	assert.False(t, a.Agree, "and what disagrees does")
}
