package find_test

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// A crank that is turned by a ratchet gives way at each stroke, and so goes to and
// fro as a spindle does. Whatever the strokes, the order of the columns and how
// far the crank is in its turn, it is never the lift: the other column is, or it is
// asked which.
func TestARatchetingCrankIsNoValve(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stroke := rapid.Float64Range(25, 90).Draw(t, "degrees a stroke")
		gives := rapid.Float64Range(1, 0.3*stroke).Draw(t, "degrees given way")
		from := rapid.Float64Range(0, 200).Draw(t, "degrees at the start")
		turnFirst := rapid.Bool().Draw(t, "angle first")
		hz := rapid.SampledFrom([]float64{10, 20, 50}).Draw(t, "lines a second")

		deg, goal, forward := from, from+stroke, true
		var all []string
		for deg < from+800 {
			if forward {
				if deg += 75 / hz; deg >= goal {
					forward, goal = false, deg-gives
				}
			} else if deg -= 40 / hz; deg <= goal {
				forward, goal = true, deg+stroke
			}
			lift := 0.0
			if phase := math.Mod(deg, 720) - 360; math.Abs(phase) < 120 {
				lift = 4.8 * (1 + math.Cos(phase/120*math.Pi))
			}
			line := fmt.Sprintf("%.2f %.3f\r\n", deg, lift)
			if !turnFirst {
				line = fmt.Sprintf("%.3f %.2f\r\n", lift, deg)
			}
			all = append(all, line)
		}
		f, out := hearsAt(lines.Options{Unit: measure.InMillimetres}, all, hz)
		if len(out.Readings) == 0 {
			if f.Found().Settled {
				t.Fatalf("no reading, and nothing is asked: %s", f.Found().Says)
			}
			return // it asks, which is no wrong lift
		}
		for _, r := range out.Readings {
			if l := r.Lift.Millimetres(); r.Has&measure.HasLift == 0 || l < -0.001 || l > 9.601 {
				t.Fatalf("a lift of %.3f mm: the crank was taken for the valve (%s)", l, f.Found().Says)
			}
		}
	})
}
