package sift

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/measure"
)

func TestWrapCountsOn(t *testing.T) {
	for name, period := range map[string]float64{"one turn": 360, "two turns": 720} {
		for way, pace := range map[string]float64{"forward": 1.7, "backward": -1.7, "fast": 14.5} {
			var w wrap
			for i := range 3000 {
				truly := 10 + pace*float64(i)
				shown := math.Mod(math.Mod(truly, period)+period, period)
				r := measure.Reading{At: measure.Stamp(i) * 100_000, Has: measure.HasAngle, Angle: measure.FromDegrees(shown)}
				w.on(&r)
				assert.InDelta(t, 0, math.Remainder(r.Angle.Degrees()-truly, 1e9), 1e-3, "%s %s, reading %d", name, way, i)
			}
		}
	}
}

func TestWrapLeavesAloneWhatIsNone(t *testing.T) {
	read := func(angles ...float64) (out []float64) {
		var w wrap
		for i, a := range angles {
			r := measure.Reading{At: measure.Stamp(i) * 20_000, Has: measure.HasAngle, Angle: measure.FromDegrees(a)}
			w.on(&r)
			out = append(out, r.Angle.Degrees())
		}
		return out
	}
	assert.Equal(t, []float64{350, 355, 360, 365}, read(350, 355, 360, 365), "counted on already")
	assert.Equal(t, []float64{100, 101, 1, 102}, read(100, 101, 1, 102), "a misread digit")
	assert.Equal(t, []float64{100, 101, 82, 102}, read(100, 101, 802, 102), "one that is off by turns comes back")
	assert.Equal(t, []float64{500, 501, 0, 1}, read(500, 501, 0, 1), "set to zero, not wrapped")
}
