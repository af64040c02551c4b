package rocker_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/capture/rocker"
	"lobescribe/device/measure"
	"lobescribe/simulator"
)

// The simulator has a linkage of its own, derived and written apart from this
// one and shared with nothing: both give the same valve lift at every lobe
// lift, as the rocker is and when it is square.
func TestAgainstTheSimulatorsLinkage(t *testing.T) {
	mm := measure.FromMillimetres
	rapid.Check(t, func(t *rapid.T) {
		q := rocker.Question{
			ValveArm:           mm(rapid.Float64Range(30, 50).Draw(t, "arm")),
			RockerRatio:        rapid.Float64Range(1.1, 1.8).Draw(t, "ratio"),
			Bend:               new(measure.FromDegrees(rapid.Float64Range(-15, 15).Draw(t, "bend"))),
			LobeLift:           mm(rapid.Float64Range(5, 9).Draw(t, "lobe")),
			AdjusterBelowValve: new(mm(rapid.Float64Range(-3, 4).Draw(t, "below"))),
			Pushrod:            mm(rapid.Float64Range(150, 300).Draw(t, "rod")),
			PushrodLean:        new(measure.FromDegrees(rapid.Float64Range(-8, 8).Draw(t, "lean"))),
			LifterLean:         new(measure.Angle(0)), // the simulator's tappet stands upright
		}
		for i := range 11 {
			q.AtLobeLift = append(q.AtLobeLift, q.LobeLift*measure.Length(i)/10)
		}
		a, err := rocker.Solve(q)
		require.NoError(t, err)
		for _, s := range []rocker.Setting{a.Now, a.Square} {
			other := simulator.Rocker{
				Ratio: q.RockerRatio, ValveArm: q.ValveArm, Bend: *q.Bend, Pushrod: s.Pushrod,
				ClosedAngle: s.Closed.Angle, Square: s.Closed.Angle == 0, Lean: s.Closed.PushrodLean,
			}
			for i, p := range s.At {
				// Angles to a microdegree over 300 mm of rod, twice.
				assert.InDelta(t, other.Tip(q.AtLobeLift[i], q.LobeLift), p.Lift.Millimetres(), 5e-5)
			}
		}
	})
}
