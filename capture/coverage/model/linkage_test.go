package model

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The model itself against numbers worked out apart from it (plane geometry,
// recomputed with scipy): raising the pivot by 1 mm with the valve's end held
// lifts the ball of a rocker of 38.1 mm and ratio 1.6 by 1.625000, 1.614080,
// 1.601580, 1.584502 mm with its arms bent by 0, 10, 15, 20 deg, and an upright
// pushrod of 200 mm grows by 1.62500, 1.61411, 1.60165, 1.58462 mm, one that
// leans by 8 deg by 1.60818, 1.58243, 1.56276, 1.53874 mm.
func TestRaisingThePivot(t *testing.T) {
	for _, c := range []struct{ bend, rise, upright, leaning float64 }{
		{0, 1.625000, 1.62500, 1.60818}, {10, 1.614080, 1.61411, 1.58243},
		{15, 1.601580, 1.60165, 1.56276}, {20, 1.584502, 1.58462, 1.53874},
	} {
		for lean, longer := range map[float64]float64{0: c.upright, 8: c.leaning} {
			r := Bent(38.1, 38.1/1.6, c.bend*math.Pi/180, 0)
			ball := r.Ball
			e := Engine{Rocker: r, Lifter: ball.plus(Vec{0, -1}.turned(lean * math.Pi / 180).Times(200)), Rod: 200}
			up := e
			up.Pivot = Vec{0, 1}
			turn, err := newton(func(turn float64) float64 { return up.lift(turn) }, 0)
			require.NoError(t, err)
			assert.InDelta(t, c.rise, up.ball(turn).Y-ball.Y, 1e-6)
			assert.InDelta(t, longer, up.ball(turn).minus(e.Lifter).length()-200, 1e-5, "bend %v lean %v", c.bend, lean)
		}
	}
}

// The least mark of an arm of 40 mm over a lift of 10 mm is 0.313730 mm wide
// (right triangle), and the arm is level at half lift then.
func TestTheLeastMark(t *testing.T) {
	b, err := Assemble(Parts{Rocker: Bent(40, 25, 0.1, 5), Lift: 10, Lash: 0.2, Rod: 220, Short: 1.3, StandLean: 0.03})
	require.NoError(t, err)
	wanted, err := b.Wanted()
	require.NoError(t, err)
	square, err := b.Raised(wanted)
	require.NoError(t, err)
	full, err := square.Full()
	require.NoError(t, err)
	width, nearer, err := square.Stem()
	require.NoError(t, err)
	assert.InDelta(t, 40-math.Sqrt(1600-full.Lift*full.Lift/4), width, 1e-9)
	assert.InDelta(t, 0, nearer, 1e-9)
	short, err := square.Short()
	require.NoError(t, err)
	assert.InDelta(t, 0, short, 1e-9)
	heel, err := square.AtLobe(0)
	require.NoError(t, err)
	assert.InDelta(t, -0.2, heel.Lift, 1e-9, "the new pushrod leaves the lash")
	short, err = b.Short()
	require.NoError(t, err)
	assert.InDelta(t, 1.3, short, 1e-9)
}
