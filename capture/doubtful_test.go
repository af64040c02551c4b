package capture

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/capture/workshop"
)

// After a fault that makes lifts wrong nothing is called without a doubt, and in the next
// trace, where somebody may have mended it, it is told again if nobody did.
func TestCallsUnderAFaultAreDoubtful(t *testing.T) {
	s := workshop.Make("cut nose", 3, workshop.Options{Rate: 100, Openings: 4, Step: 1000, Encoder: true})
	f := NewFollower(FollowerOptions{Resolution: s.Trace.Resolution})
	for trace := range 2 {
		told, sure, doubtful := false, 0, 0
		for _, r := range s.Trace.Readings {
			for _, m := range f.Step(nil, r) {
				switch m := m.(type) {
				case Fault:
					told = told || m.Fault.Kind == lift.TravelEnd
				case Cue:
					switch m.Kind {
					case NoseReached, AtHalf, PastHalf:
					default:
						continue
					}
					if m.Doubtful {
						doubtful++
					} else if told {
						sure++
					}
				}
			}
		}
		require.True(t, told, "trace %d", trace)
		assert.Zero(t, sure, "trace %d: called as if nothing were wrong", trace)
		assert.Greater(t, doubtful, 3, "trace %d", trace)
		assert.True(t, f.Position().Doubtful, "trace %d", trace)
		f.Afresh()
		assert.False(t, f.Position().Doubtful, "trace %d", trace)
	}
}

// A sound trace that ends leaves what was learned of the valve.
func TestASoundTraceLeavesWhatWasLearned(t *testing.T) {
	s := workshop.Make("sound", 3, workshop.Options{Rate: 100, Openings: 3, Step: 1000, Encoder: true})
	f := NewFollower(FollowerOptions{Resolution: s.Trace.Resolution})
	for _, r := range s.Trace.Readings {
		f.Step(nil, r)
	}
	f.Afresh()
	assert.True(t, f.expect.learned)
	assert.InEpsilon(t, float64(s.Truth.Openings[0].Lift), f.expect.lift, 0.01)
}
