package lift_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/capture/workshop"
	"lobescribe/device/measure"
)

// A head that was written before the indicator had shown its step says a step
// that is too small, or too large: the findings' step and uncertainties are those
// of the readings all the same.
func TestTheStepIsLearnedAnew(t *testing.T) {
	seen := 0
	for seed := range uint64(24) {
		s := workshop.Make("sound", seed, workshop.Options{Rate: 50})
		want, err := lift.Analyse(s.Trace, lift.Options{Resolution: s.Step})
		require.NoError(t, err)
		if len(want.Openings) == 0 {
			continue
		}
		for _, told := range []measure.Length{0, s.Step / 10, 2 * s.Step} {
			trace := s.Trace
			trace.Resolution = told
			f, err := lift.Analyse(trace, lift.Options{})
			require.NoError(t, err)
			seen++
			assert.Equal(t, s.Step, f.Resolution, "seed %d, told %v", seed, told)
			assert.Equal(t, want.MaxLiftU, f.MaxLiftU, "seed %d, told %v", seed, told)
		}
	}
	assert.Greater(t, seen, 50)
}
