package capture

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"lobescribe/capture/lift"
	"lobescribe/capture/prove"
	"lobescribe/device/measure"
)

// A spindle that comes to its stop at the nose is told by the proof, also on
// another valve than the one that stood there when it was proved.
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
			for i := range 800 { // a round nose, which only the proof says is at the stop
				at += 10 * measure.Millisecond
				x := 0.0
				if i >= 200 && i < 600 {
					x = 3 - 3*math.Cos(2*math.Pi*float64(i-200)/400)
				}
				lifted := measure.FromMillimetres(math.Round(x*1000) / 1000)
				for _, m := range f.Step(nil, measure.Reading{At: at, Lift: lifted, Has: measure.HasLift}) {
					if fault, ok := m.(Fault); ok && fault.Fault.Kind == lift.TravelEnd {
						told = true
					}
				}
			}
		}
		assert.Equal(t, known.Proved(), told, name)
	}
}
