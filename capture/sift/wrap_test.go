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

// An encoder that is known to start again does so after a rest, too, in which an instrument
// that speaks on change said nothing.
func TestWrapAfterARest(t *testing.T) {
	for _, known := range []bool{true, false} {
		var w wrap
		at := measure.Stamp(0)
		read := func(after measure.Stamp, angle float64) float64 {
			at += after
			r := measure.Reading{At: at, Has: measure.HasAngle, Angle: measure.FromDegrees(angle)}
			w.on(&r)
			return r.Angle.Degrees()
		}
		if known {
			read(0, 354)
			assert.InDelta(t, 360, read(100_000, 0), 1e-6)
			w.begun = false
		}
		before := read(100_000, 354)
		after := read(3*measure.Second, 0)
		if known {
			assert.InDelta(t, before+6, after, 1e-6)
		} else {
			assert.InDelta(t, before-354, after, 1e-6, "it may have been set to zero")
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
