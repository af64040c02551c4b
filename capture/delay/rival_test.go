package delay

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// inRhythm is a crank rocked 15 degrees either way about a flank that rises by
// 0.1 mm a degree, the lift 30 ms late; beat gives the time of a stroke.
func inRhythm(beat func(s float64) float64) (both []measure.Reading) {
	crank := func(s float64) float64 { return 15 * math.Sin(beat(s)) }
	for i := range 1500 {
		at := measure.Stamp(i) * 5 * measure.Millisecond
		both = append(both, measure.Reading{At: at, Has: measure.HasLift | measure.HasAngle,
			Angle: measure.FromDegrees(crank(at.Seconds())),
			Lift:  measure.FromMillimetres(math.Round(5e3+100*crank(at.Seconds()-0.030)) / 1e3)})
	}
	return both
}

// A perfectly even rhythm fits one beat off as well: that is said, and not taken
// for a lag. A hand's uneven one tells.
func TestARhythmIsNotTakenForALag(t *testing.T) {
	even := inRhythm(func(s float64) float64 { return 2 * math.Pi * s / 0.2 })
	_, err := Measure(even, even, Options{})
	require.ErrorIs(t, err, ErrNotEnough)
	assert.ErrorContains(t, err, "two lags")

	uneven := inRhythm(func(s float64) float64 { return 2 * math.Pi * (s/0.6 + 0.3*math.Sin(s) + 0.2*math.Sin(2.3*s)) })
	r, err := Measure(uneven, uneven, Options{})
	require.NoError(t, err)
	assert.InDelta(t, 0.030, r.Lag.Seconds(), 0.001)
}
