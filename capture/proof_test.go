package capture

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/lift"
	"lobescribe/capture/prove"
	"lobescribe/device/measure"
)

// A spindle that comes to its stop under the nose is told by the proof, also on
// another valve than the one it was told on.
func TestAProofGoesAlongToAnotherValve(t *testing.T) {
	for name, known := range map[string]prove.Proof{
		"proved": {Low: -8 * measure.Millimetre, High: 6 * measure.Millimetre, In: 1, Step: 1000, StopU: 600,
			Repeat: 1000, Stick: 1000, Refresh: 10 * measure.Millisecond, Rate: 100, When: time.Unix(1e9, 0)},
		"never proved": {},
	} {
		f := NewFollower(FollowerOptions{Sign: 1})
		f.Prove(known)
		f.Another(0, 0)
		assert.Equal(t, known, f.o.Proof, name)
		told := false
		at := measure.Stamp(0)
		for range 3 {
			for i := range 800 { // a triangle of 9 mm, cut at 6
				at += 10 * measure.Millisecond
				x := min(max(9-9*max(float64(i-400), float64(400-i))/200, 0), 6)
				for _, m := range f.Step(nil, measure.Reading{At: at, Lift: measure.FromMillimetres(x).Abs(), Has: measure.HasLift}) {
					if fault, ok := m.(Fault); ok && fault.Fault.Kind == lift.TravelEnd {
						told = true
					}
				}
			}
		}
		if known.Proved() {
			assert.True(t, told, name)
		}
	}
}
